"""A phone's browser, and a demo farm that lacks the photos of its last days: those are what the phone sends."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from farm.fruiting import import_harvests
from farm.measure import RunOptions, measure_paths
from farm.records import import_events, import_vessels, move_vessels
from farm.store import Farm, open_farm
from farm.upkeep import make_demo_farm
from phone import PhoneServer
from tests.phone.serving import served
from tests.report.conftest import browser as browser
from tests.report.conftest import shelf as shelf

#: Waits of the browser on a loaded machine: measuring starts processes.
PATIENCE_MS = 180_000
#: A common phone, in CSS px, held upright.
PHONE = {"width": 390, "height": 844}
#: The demo's photos of the last day of each kind; the phone sends them and others, the farm is measured without them.
KEPT_BACK = ("bags/20260316_1200.jpg", "jars/20260314_1800.jpg", "plates/20260309_1400.jpg")


@pytest.fixture(scope="session")
def measured_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo farm on shelves, measured without the photos that are kept back, which lie beside it."""
    home = tmp_path_factory.mktemp("demo")
    with make_demo_farm(home / "farm", Path(str(files("sample_images")))) as farm:
        import_vessels(farm, farm.folder / "vessels.csv")
        import_events(farm, farm.folder / "events.csv")
        import_harvests(farm, farm.folder / "harvests.csv")
        move_vessels(farm, ["B001", "B002", "B003", "B004", "B005", "B006"], "A1")
        move_vessels(farm, ["J001", "J002"], "A2")
        for name in KEPT_BACK:
            (home / Path(name).name).write_bytes((farm.folder / "photos" / name).read_bytes())
            (farm.folder / "photos" / name).unlink()
        measure_paths(farm, [farm.folder / "photos"], RunOptions())
    return home


@pytest.fixture
def demo(measured_demo: Path, tmp_path: Path) -> Iterator[Farm]:
    """A copy of that farm; the photos that are kept back lie in the folder above it."""
    shutil.copytree(measured_demo, tmp_path / "home")
    with open_farm(tmp_path / "home" / "farm") as farm:
        yield farm


@pytest.fixture
def serve() -> Iterator[Callable[..., PhoneServer]]:
    """Serves a farm (``served``'s arguments) until the test has ended."""
    with ExitStack() as until_the_end:
        yield lambda *farm_and_options: until_the_end.enter_context(served(*farm_and_options))


@pytest.fixture
def phone_page(browser: Any, serve: Callable[..., PhoneServer]) -> Iterator[Callable[..., Any]]:
    """Opens a page on a new phone with touch; what it complains of in its console fails the test.

    It depends on ``serve`` so that pages close first: one that still loads a picture complains of a stopped server.
    """
    pytest.importorskip("playwright.sync_api").expect.set_options(timeout=PATIENCE_MS)
    contexts: list[Any] = []
    complaints: list[str] = []

    def opened(*, may_complain: bool = False, **settings: Any) -> Any:
        context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True, **({"locale": "en"} | settings))
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        if not may_complain:
            page.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        return page

    yield opened
    for context in contexts:
        context.close()
    assert complaints == []
