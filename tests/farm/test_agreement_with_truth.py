"""Readings compared with a truth, and the demo farm, which has one."""

from datetime import UTC, datetime
from functools import partial
from importlib.resources import as_file, files
from pathlib import Path
from types import SimpleNamespace

import pytest

from farm.outlook import Moments
from farm.records import import_events, import_vessels
from farm.records.models import KeptReading, Suspect
from farm.store.errors import FarmExistsError, InputFileError
from farm.study import compare_days, compare_with_truth
from farm.upkeep import make_demo_farm

TRUTH = """\
vessel,photo,percent,contaminated
B1,bags/a.jpg,10,no
B1,bags/b.jpg,50,yes
B1,bags/c.jpg,90,yes
B2,bags/a.jpg,0,no
"""
GREEN = Suspect("green", 2.0, (0, 0, 1, 1), 0.9)


def reading(photo: str, percent: float, *suspects: Suspect) -> KeptReading:
    at = datetime(2026, 3, 1, tzinfo=UTC)
    return KeptReading(photo, photo, 0, at, "camera", "ok", "B1", "bag", percent=percent, suspects=suspects)


def test_errors_and_flags_are_counted_by_vessel(tmp_path: Path) -> None:
    source = tmp_path / "truth.csv"
    source.write_text(TRUTH)
    first, second = compare_with_truth(
        [reading("x/a.jpg", 13, GREEN), reading("x/b.jpg", 45, GREEN), reading("x/c.jpg", 91)], source
    )
    assert (first.n_photos, first.n_read, first.read, first.truth) == (3, 3, 91, 90)
    assert first.mean_error == pytest.approx((3 + 5 + 1) / 3)
    assert (first.contaminated_in, first.flagged_in, first.false_flags) == (2, 1, 1)
    assert (second.n_read, second.read, second.mean_error) == (0, None, None)


def test_a_truth_other_than_yes_or_no_is_reported(tmp_path: Path) -> None:
    source = tmp_path / "truth.csv"
    source.write_text(TRUTH.replace("90,yes", "90,perhaps"))
    with pytest.raises(InputFileError, match="line 4, column contaminated: 'perhaps'"):
        compare_with_truth([], source)


def test_forecast_days_are_compared_with_the_true_ones(tmp_path: Path) -> None:
    source = tmp_path / "truth_days.csv"
    source.write_text("vessel,through,fate\nB1,2026-03-10T12:00,\nB2,,stalled\nB3,2026-03-20T12:00,\n")
    at = partial(datetime, 2026, 3, tzinfo=UTC)
    said = Moments(at(day=9), at(day=8), at(day=11))
    nothing = Moments(None, None, None)
    outlooks = [
        SimpleNamespace(vessel=SimpleNamespace(id=name), through=through, forecast=SimpleNamespace(status=status))
        for name, through, status in (("B1", said, "ready"), ("B2", nothing, "stalled"), ("B3", said, "colonising"))
    ]
    days = compare_days(outlooks, source, UTC)  # type: ignore[arg-type]
    assert [(one.vessel, one.held, one.status, one.fate) for one in days] == [
        ("B1", True, "ready", ""),
        ("B2", None, "stalled", "stalled"),
        ("B3", False, "colonising", ""),
    ]


def test_the_demo_farm_is_complete_and_never_overwrites_another_folder(tmp_path: Path) -> None:
    with as_file(files("sample_images")) as samples:
        with make_demo_farm(tmp_path / "demo", samples) as farm:
            assert import_vessels(farm, farm.folder / "vessels.csv").added == 20
            assert import_events(farm, farm.folder / "events.csv").added == 16
            assert farm.now.date().isoformat() == "2026-03-16"
            truth = compare_with_truth([], farm.folder / "truth.csv")
            assert {one.vessel[0]: one.n_photos for one in truth} == {"B": 5, "J": 6, "P": 4}
            assert len(list(farm.folder.rglob("*.jpg"))) == 15
        with pytest.raises(FarmExistsError, match="--replace"):
            make_demo_farm(tmp_path / "demo", samples)
        make_demo_farm(tmp_path / "demo", samples, replace=True).close()
        (tmp_path / "mine").mkdir()
        (tmp_path / "mine" / "photo.jpg").touch()
        with pytest.raises(FarmExistsError, match="is not empty"):
            make_demo_farm(tmp_path / "mine", samples, replace=True)
