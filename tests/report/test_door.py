"""The names of the room ``report`` are loaded when they are asked for."""

import subprocess
import sys
from pathlib import Path

import pytest

import report

ROOT = Path(__file__).parents[2]


def test_the_package_exports_exactly_the_names_in_its_list() -> None:
    for name in report.__all__:
        assert not isinstance(getattr(report, name), type(report)), f"{name}: a module of the room has the same name"
    assert sorted(report._MODULES) == sorted(report.__all__)
    with pytest.raises(AttributeError, match="no attribute 'write_nothing'"):
        getattr(report, "write_nothing")  # noqa: B009 - a name that is not there


def test_a_list_in_a_terminal_does_not_load_what_draws_pages() -> None:
    program = "import cli.ready, sys; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, check=True, capture_output=True, text=True, timeout=120
    )
    assert {"reportlab", "matplotlib", "jinja2", "cv2", "farm.plan"} & set(done.stdout.split()) == set()
