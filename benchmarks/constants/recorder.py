"""A pytest plugin that records which test runs which line: ``pytest -p benchmarks.constants.recorder``.

Each test is a context of coverage.py. Lines run by a fixture of a wider scope count for every test that uses it, since
only the first of them sets it up. Lines run in worker processes are not recorded.
"""

import json
import os
from collections.abc import Generator
from pathlib import Path
from typing import Any

import coverage
import pytest

#: Environment variables: the package that is watched, and the file that is written.
PACKAGE, OUTPUT = "SPAWNRUN_CONSTANTS_PACKAGE", "SPAWNRUN_CONSTANTS_OUTPUT"


class Recorder:
    """Lines by test, gathered while pytest runs."""

    def __init__(self, package: str, output: Path) -> None:
        self.package, self.output = package, output
        self.coverage = coverage.Coverage(data_file=None, include=[f"{package}/*"], config_file=False)
        self.fixtures: dict[str, list[str]] = {}
        self.seconds: dict[str, float] = {}
        self.failed: set[str] = set()
        self.current = ""

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, Any, None]:
        """One context for each test."""
        self.fixtures[item.nodeid] = list(getattr(item, "fixturenames", []))
        self.current = item.nodeid
        self.coverage.switch_context(item.nodeid)
        yield

    @pytest.hookimpl(hookwrapper=True)
    def pytest_fixture_setup(self, fixturedef: pytest.FixtureDef[Any]) -> Generator[None, Any, None]:
        """A context of its own for a fixture that several tests share."""
        if fixturedef.scope == "function":
            yield
            return
        before, self.current = self.current, f"fixture {fixturedef.argname}"
        self.coverage.switch_context(self.current)
        yield
        self.current = before
        self.coverage.switch_context(before)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note the duration of each test, to run quick ones first, and which tests fail before any shift."""
        if report.failed:
            self.failed.add(report.nodeid)
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration

    def pytest_sessionfinish(self) -> None:
        """Write lines, fixtures and seconds as JSON."""
        self.coverage.stop()
        data = self.coverage.get_data()
        root = Path.cwd()
        lines = {
            str(Path(file).relative_to(root)): {
                str(line): sorted(one for one in contexts if one)
                for line, contexts in data.contexts_by_lineno(file).items()
            }
            for file in data.measured_files()
        }
        found = {"lines": lines, "fixtures": self.fixtures, "seconds": self.seconds, "failed": sorted(self.failed)}
        self.output.write_text(json.dumps(found), "utf-8")


def pytest_configure(config: pytest.Config) -> None:
    """Start recording if the environment variables are set."""
    if package := os.environ.get(PACKAGE):
        recorder = Recorder(package, Path(os.environ[OUTPUT]))
        config.pluginmanager.register(recorder)
        recorder.coverage.start()
