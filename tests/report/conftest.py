"""A farm with three vessels measured from painted photos, one of them with a growing green spot."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from farm.measure import measure_paths
from farm.records import import_vessels, moment
from farm.store import Farm, create_farm, to_instant
from tests.farm.painted import paint, painted_vision

#: The browser of the system; Playwright's own is not downloaded.
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
#: Set in CI, where a missing browser is a failure and not a skip.
NEEDED = bool(os.environ.get("SPAWNRUN_TESTS_NEED_BROWSER"))

VESSELS = """\
id,kind,species,substrate,inoculated,batch
B001,bag,oyster,sawdust,2026-03-01T08:00,FIRST
B002,bag,oyster,sawdust,2026-03-01T08:00,FIRST
B003,bag,oyster,sawdust,2026-03-01T08:00,FIRST
"""
#: Day in March; percents of the three; areas of the green spot on B002 and on B003, cm2.
WEEK = (
    (3, 2, 3, 2, 0, 0),
    (6, 30, 20, 21, 0, 0),
    (8, 62, 35, 52, 1, 0),
    (10, 88, 45, 77, 4, 0),
    (12, 99, 50, 90, 9, 1),
)


@pytest.fixture
def shelf(tmp_path: Path) -> Iterator[Farm]:
    with create_farm(tmp_path / "shelf") as farm:
        source = tmp_path / "vessels.csv"
        source.write_text(VESSELS)
        import_vessels(farm, source)
        for day, *percents, second, third in WEEK:
            spotted = [("B002", percents[1], second), ("B003", percents[2], third)]
            rows = [row if row[2] else row[:2] for row in spotted]
            paint(tmp_path / "photos" / f"202603{day:02}_1000.png", ("B001", percents[0]), *rows)
        measure_paths(farm, [tmp_path / "photos"], vision=painted_vision())
        yield farm.at(to_instant(moment("2026-03-12T20:00"), farm.zone))


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Headless Chromium; the test is skipped if it is not installed."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (dev extra)")
    if CHROMIUM is None and not NEEDED:
        pytest.skip("no Chromium found on this machine (apt-get install chromium)")
    with sync_api.sync_playwright() as playwright:
        # As root, in a container, Chromium cannot start its sandbox; the pages are our own.
        started = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        )
        yield started
        started.close()
