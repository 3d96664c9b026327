"""A farm for tests."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from farm.measure import Vision, measure_paths
from farm.records import import_vessels
from farm.store import Farm, create_farm
from tests.farm.painted import paint, painted_vision

VESSELS = """\
id,kind,species,substrate,inoculated,batch,source,label_size
B001,bag,oyster,sawdust,2026-03-01T08:00,FIRST,JAR-1,
B002,bag,oyster,sawdust,2026-03-01T08:00,FIRST,JAR-1,
J001,jar,oyster,rye grain,2026-03-02,SECOND,,small
"""


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[Farm]:
    with create_farm(tmp_path / "farm") as made:
        yield made


@pytest.fixture
def vessels_csv(tmp_path: Path) -> Path:
    source = tmp_path / "vessels.csv"
    source.write_text(VESSELS, "utf-8")
    return source


@pytest.fixture
def vision() -> Vision:
    return painted_vision()


@pytest.fixture
def week(farm: Farm, vessels_csv: Path, tmp_path: Path, vision: Vision) -> Farm:
    """B001 clean and B002 with a green patch that grows, measured on five days."""
    import_vessels(farm, vessels_csv)
    for day in range(3, 8):
        paint(tmp_path / "photos" / f"202603{day:02}_1000.png", ("B001", 9 * day), ("B002", 8 * day, day))
    measure_paths(farm, [tmp_path / "photos"], vision=vision)
    return farm
