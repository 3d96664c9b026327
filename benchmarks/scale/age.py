"""What a day costs as a farm ages: the processor time of one more photo of eight bags, after one and after many."""

import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from benchmarks.scale.shelves import BAGS, write_days
from farm.measure import RunOptions, measure_paths
from farm.records import import_vessels
from farm.store import create_farm

#: Photos over which a cost is averaged.
_AVERAGED = 3


@dataclass(frozen=True)
class Aged:
    """After so many photos of each vessel: processor seconds of one more photo, and bytes kept for each vessel."""

    photos: int
    core_seconds: float
    bytes_a_vessel: float


def ageing_costs(home: Path, n_photos: int) -> Iterator[Aged]:
    """The cost of each photo of one shelf of eight bags, measured day by day, without the start of the program."""
    import cv2

    cv2.setNumThreads(1)
    photos = write_days(home / "warm", 2)
    _measure_one_by_one(home / "warm", photos)
    photos = write_days(home / "aged", n_photos)
    costs = _measure_one_by_one(home / "aged", photos)
    for last in range(_AVERAGED, n_photos + 1, _AVERAGED):
        some = costs[last - _AVERAGED : last]
        yield Aged(last, sum(one for one, _ in some) / _AVERAGED, some[-1][1])


def _measure_one_by_one(home: Path, photos: list[Path]) -> list[tuple[float, float]]:
    costs = []
    with create_farm(home / "farm") as farm:
        import_vessels(farm, home / "vessels.csv")
        for photo in photos:
            begun = time.process_time()
            measure_paths(farm, [photo], RunOptions(workers=1))
            costs.append((time.process_time() - begun, _size(home / "farm") / BAGS))
    return costs


def _size(farm: Path) -> int:
    """Bytes of the faces and of what is kept between photos."""
    return sum(
        file.stat().st_size for part in ("faces", "series") for file in (farm / part).rglob("*") if file.is_file()
    )
