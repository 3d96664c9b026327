"""Estimates by eye compared with readings: which reading belongs to a row."""

from pathlib import Path

import pytest

from farm.measure import Vision, measure_paths
from farm.records import import_vessels
from farm.store import Farm
from farm.store.errors import InputFileError
from farm.study import check_by_eye
from tests.farm.painted import paint


@pytest.fixture
def shelf(farm: Farm, vessels_csv: Path, vision: Vision, tmp_path: Path) -> Farm:
    import_vessels(farm, vessels_csv)
    for day, first, second in ((3, 2, 4), (6, 30, 21), (8, 62, 35)):
        paint(tmp_path / "photos" / f"202603{day:02}_1000.png", ("B001", first), ("B002", second))
    measure_paths(farm, [tmp_path / "photos"], vision=vision)
    return farm


def check(shelf: Farm, tmp_path: Path, text: str, **options: float):
    (tmp_path / "eye.csv").write_text(text)
    return check_by_eye(shelf, tmp_path / "eye.csv", **options)


def test_rows_find_their_readings_by_photo_or_by_time(shelf: Farm, tmp_path: Path) -> None:
    told = check(
        shelf,
        tmp_path,
        "vessel,percent,photo,taken_at\n"
        "b001,40,some\\where\\20260306_1000.png,\n"
        "B002,20,,2026-03-06T16:00\n"
        "B001,60,20260308_1000.png,\n",
    )
    assert [(one.reading.vessel, one.by_eye, one.reading.percent) for one in told.pairs] == [
        ("B001", 40, 30), ("B001", 60, 62), ("B002", 20, 21),
    ]  # fmt: skip
    assert told.pairs[0].difference == -10
    assert (told.n_vessels, told.agreement.n, told.agreement.bias.value) == (2, 3, pytest.approx(-7 / 3))


def test_rows_without_a_reading_have_a_reason(shelf: Farm, tmp_path: Path) -> None:
    told = check(
        shelf,
        tmp_path,
        "vessel,percent,photo,taken_at\nJ001,5,,2026-03-06\nB001,5,none.png,\nB001,5,,2026-03-07T04:00\nZ9,5,x.png,\n",
    )
    assert told.agreement is None
    assert told.unmatched == (
        (2, "J001 has no reading"),
        (3, "B001 has no reading of none.png"),
        (4, "B001 has no reading within 12 hours of it (the nearest: 18)"),
        (5, "Z9 has no reading"),
    )
    assert len(check(shelf, tmp_path, "vessel,percent,taken_at\nB001,5,2026-03-07T04:00\n", within_hours=24).pairs) == 1


def test_photos_of_one_name_are_distinguished_by_time(shelf: Farm, vision: Vision, tmp_path: Path) -> None:
    paint(tmp_path / "more" / "20260308_1000.png", ("B001", 64))
    measure_paths(shelf, [tmp_path / "more"], vision=vision)
    told = check(shelf, tmp_path, "vessel,percent,photo\nB001,5,20260308_1000.png\n")
    assert "readings of 2 photos named 20260308_1000.png: fill in taken_at too" in told.unmatched[0][1]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("vessel,percent\nB001,4\n", "line 2: fill in photo or taken_at"),
        ("vessel,percent,photo\nB001,400,x\n", "must be 100 or less"),
        ("vessel,photo\nB001,x\n", "no column percent"),
    ],
)
def test_errors_of_the_table_are_reported(shelf: Farm, tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputFileError, match=said):
        check(shelf, tmp_path, text)
