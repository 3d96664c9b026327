"""A farm at one time: outlooks are snapshots, lists only read, and cached summaries change nothing."""

from copy import deepcopy
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select, update

from farm.lists import batch_views, changes_since, list_today, sort_into_sections
from farm.measure import Vision, measure_paths, read_stale_series
from farm.outlook import Outlook, bring_up_to_date, list_outlooks, readings_of, vessel_readings
from farm.outlook.vessel_summary import keep_summaries, kept_summaries
from farm.records import add_event, import_vessels, list_readings, moment
from farm.records.models import KeptReading
from farm.records.verdicts import wrong_readings
from farm.review import give_verdict, review_items
from farm.store import Farm, to_instant
from farm.store.schema import vessels
from tests.farm.painted import paint
from tests.values import known

DAYS = range(3, 13)


@pytest.fixture
def week(farm: Farm, vessels_csv: Path, tmp_path: Path, vision: Vision) -> Farm:
    """B001 clean, B002 with a green patch that grows, J001 photographed front and back."""
    import_vessels(farm, vessels_csv)
    for day in DAYS:
        name = tmp_path / "photos" / f"202603{day:02}_1000.png"
        paint(
            name, ("B001", 9 * day - 20), ("B002", 6 * day, max(0, day - 6)), ("J001", 5 * day), ("J001/BACK", 4 * day)
        )
    measure_paths(farm, [tmp_path / "photos"], vision=vision)
    return farm.at(at("2026-03-13T09:00"))


def at(text: str):
    return to_instant(moment(text), None)


def told(farm: Farm) -> list[object]:
    """Everything that a list may show."""
    outlooks = bring_up_to_date(farm)
    items = sort_into_sections(farm, outlooks, review_items(farm, outlooks))
    readings = readings_of(farm, [one.vessel.id for one in outlooks])
    assert [one.last for one in outlooks] == [(found.series or (None,))[-1] for found in readings.values()]
    assert [one.n_readings for one in outlooks] == [len(found.series) for found in readings.values()]
    return [outlooks, readings, [(one.section, one.outlook.vessel.id, one.marks, one.review) for one in items]]


def forget(farm: Farm) -> None:
    """Remove all cached results."""
    with farm.writing() as connection:
        connection.execute(update(vessels).values(summary=None))


def fetches(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, ...]]:
    """Record the vessels whose readings are fetched."""
    asked: list[tuple[str, ...]] = []

    def counted(farm: Farm, *, vessels) -> list[KeptReading]:
        if vessels:
            asked.append(tuple(vessels))
        return list_readings(farm, vessels=vessels)

    monkeypatch.setattr("farm.outlook.vessel_readings.list_readings", counted)
    return asked


def test_a_list_fetches_no_readings_the_second_time(week: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    first = told(week)
    asked = fetches(monkeypatch)
    outlooks = list_outlooks(week)
    sort_into_sections(week, outlooks, review_items(week, outlooks))
    assert asked == []
    assert told(week) == first


def test_a_change_of_one_vessel_is_summarised_again_for_it_alone(
    week: Farm, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, vision: Vision
) -> None:
    told(week)
    monkeypatch.setattr("farm.measure.series.load_vision", lambda: vision)
    asked = fetches(monkeypatch)
    add_event(week, "J001", "shaken", at("2026-03-09T12:00"))
    after_shake = told(week)
    assert asked[0] == ("J001",)
    forget(week)
    assert told(week) == after_shake
    measure_paths(week, [paint(tmp_path / "late" / "20260304_1800.png", ("B001", 33))], vision=vision)
    after = told(week)
    forget(week)
    assert told(week) == after


@pytest.mark.parametrize("when", ["2026-03-05T09:00", "2026-03-09T09:00", "2026-04-01T09:00"])
def test_another_time_gives_the_same_with_and_without_summaries(week: Farm, when: str) -> None:
    told(week)
    kept = told(week.at(at(when)))
    forget(week)
    assert told(week.at(at(when))) == kept
    readings = readings_of(week.at(at(when)), ["B001", "B002", "J001"]).values()
    assert all(one.taken_at <= at(when) for found in readings for one in found.faces)


def test_a_shake_after_the_as_of_time_is_not_known(week: Farm, vision: Vision) -> None:
    before = told(week.at(at("2026-03-13T09:00")))
    add_event(week, "B001", "shaken", at("2026-03-13T12:00"))
    read_stale_series(week, vision=vision)
    assert told(week.at(at("2026-03-13T09:00"))) == before


def test_a_reading_confirmed_as_wrong_is_left_out_with_summaries_too(week: Farm) -> None:
    told(week)
    (first, *_) = list_readings(week, vessel="B001")
    item = replace(review_items(week, list_outlooks(week))[0], vessel="B001", subject="wrong reading", reading=first)
    give_verdict(week, [item], "B001", "confirmed")
    assert wrong_readings(week) == {first.key: "B001"}
    (outlook,) = [one for one in list_outlooks(week) if one.vessel.id == "B001"]
    assert outlook.left_out == (first,)
    assert outlook.n_readings == len(DAYS) - 1
    assert first not in readings_of(week, ["B001"])["B001"].series


def test_many_vessels_are_fetched_in_chunks(week: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = told(week)
    monkeypatch.setattr(vessel_readings, "AT_ONCE", 1)
    forget(week)
    assert told(week) == whole


def test_a_summary_of_readings_that_have_changed_since_is_not_stored(week: Farm, vision: Vision) -> None:
    """Another station measures while this one makes its list."""
    forget(week)
    with week.reading() as connection:
        revision = connection.scalar(select(vessels.c.revision).where(vessels.c.id == "B001"))
    told(week)
    summaries, _ = kept_summaries(week)
    forget(week)
    add_event(week, "B001", "moved", at("2026-03-12T12:00"))
    read_stale_series(week, vision=vision)
    keep_summaries(week, {"B001": summaries["B001"]}, {"B001": known(revision)})
    with week.reading() as connection:
        assert connection.scalar(select(vessels.c.summary).where(vessels.c.id == "B001")) is None


def test_the_newest_reading_needs_no_fetching(week: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    told(week)
    asked = fetches(monkeypatch)
    outlooks: list[Outlook] = list_outlooks(week)
    assert {one.vessel.id: one.last and one.last.percent for one in outlooks}["B001"] == 9 * DAYS[-1] - 20
    assert [one.n_readings for one in outlooks] == [10, 10, 10]
    assert asked == []
    assert timedelta(0) <= week.now - max(one.last.taken_at for one in outlooks if one.last) < timedelta(days=1)


def test_a_snapshot_is_unchanged_when_a_photo_is_added(week: Farm, tmp_path: Path, vision: Vision) -> None:
    outlooks = bring_up_to_date(week)
    readings = readings_of(week, ["B001"])
    before = deepcopy((outlooks, readings))
    measure_paths(week, [paint(tmp_path / "late" / "20260313_0800.png", ("B001", 99, 5))], vision=vision)
    assert (outlooks, readings) == before
    (old,) = [one for one in outlooks if one.vessel.id == "B001"]
    (new,) = [one for one in list_outlooks(week) if one.vessel.id == "B001"]
    assert (old.n_readings, old.last and old.last.percent, old.seen.is_calm) == (10, 88, True)
    assert (new.n_readings, new.last and new.last.percent, new.seen.is_calm) == (11, 99, False)
    assert len(readings_of(week, ["B001"])["B001"].series) == 11


def no_vision(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail() -> Vision:
        raise AssertionError("vision was run")

    monkeypatch.setattr("farm.measure.series.load_vision", fail)
    monkeypatch.setattr("farm.measure.run.load_vision", fail)


def records(farm: Farm) -> dict[str, bytes]:
    """Every file of the farm's records, after moving the write-ahead log into the database."""
    with farm.reading() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    return {path.name: path.read_bytes() for path in farm.folder.glob("records.sqlite") if path.is_file()}


def test_a_list_is_read_without_vision_and_without_writing(week: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    """Even if a series is stale and neither summaries nor forecasts are cached."""
    add_event(week, "B001", "shaken", at("2026-03-09T12:00"))
    forget(week)
    no_vision(monkeypatch)
    before = records(week)

    def refuse(*_: object) -> None:
        raise AssertionError("records were written")

    monkeypatch.setattr(Farm, "writing", refuse)
    outlooks = list_outlooks(week)
    items = list_today(week, outlooks)
    earlier = list_today(week.at(at("2026-03-12T09:00")), list_outlooks(week.at(at("2026-03-12T09:00"))))
    changes_since(week, items, earlier, at("2026-03-12T09:00"))
    assert batch_views(week, items)
    assert review_items(week, outlooks, everything=True)
    assert readings_of(week, ["B001"])
    assert records(week) == before


def test_bringing_up_to_date_is_needed_once_and_changes_no_result(
    week: Farm, monkeypatch: pytest.MonkeyPatch, vision: Vision
) -> None:
    monkeypatch.setattr("farm.measure.series.load_vision", lambda: vision)
    add_event(week, "B001", "shaken", at("2026-03-09T12:00"))
    made = bring_up_to_date(week)
    no_vision(monkeypatch)
    assert list_outlooks(week) == made
    before = records(week)
    assert bring_up_to_date(week) == made
    assert records(week) == before
