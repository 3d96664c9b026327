"""Summaries of vessels, kept so that lists need not read everything again: they never say anything else."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select, update

from farm.lists import today_list
from farm.measure import Eyes, measure_paths, read_stale_series
from farm.outlook import Outlook, look_ahead
from farm.outlook import farm_view as shelf
from farm.records import add_event, import_vessels, list_readings, moment
from farm.records.models import KeptReading
from farm.records.verdicts import wrong_readings
from farm.review import give_verdict, review_items
from farm.store import Farm, to_instant
from farm.store.schema import vessels
from tests.farm.painted import paint

DAYS = range(3, 13)


@pytest.fixture
def week(farm: Farm, vessels_csv: Path, tmp_path: Path, eyes: Eyes) -> Farm:
    """B001 clean, B002 with a green patch that grows, J001 photographed front and back."""
    import_vessels(farm, vessels_csv)
    for day in DAYS:
        name = tmp_path / "photos" / f"202603{day:02}_1000.png"
        paint(
            name, ("B001", 9 * day - 20), ("B002", 6 * day, max(0, day - 6)), ("J001", 5 * day), ("J001/BACK", 4 * day)
        )
    measure_paths(farm, [tmp_path / "photos"], eyes=eyes)
    return farm.at(at("2026-03-13T09:00"))


def at(text: str):
    return to_instant(moment(text), None)


def told(farm: Farm) -> list[object]:
    """All that a list may say, in full."""
    outlooks = look_ahead(farm)
    items = today_list(farm, outlooks, review_items(farm, outlooks))
    facts = [
        (
            one.vessel,
            tuple(one.readings),
            tuple(one.faces),
            one.left_out,
            one.misfits,
            one.forecast,
            one.last,
            one.ready,
        )
        for one in outlooks
    ]
    return [facts, [(one.section, one.outlook.vessel.id, one.marks, one.review) for one in items]]


def forget(farm: Farm) -> None:
    """As if nothing had been worked out before."""
    with farm.writing() as connection:
        connection.execute(update(vessels).values(summary=None))


def fetches(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, ...]]:
    """The vessels whose readings are fetched, as they are."""
    asked: list[tuple[str, ...]] = []

    def counted(farm: Farm, *, vessels) -> list[KeptReading]:
        if vessels:
            asked.append(tuple(vessels))
        return list_readings(farm, vessels=vessels)

    monkeypatch.setattr("farm.outlook.farm_view.list_readings", counted)
    return asked


def test_a_list_asked_again_fetches_only_what_it_must_look_into(week: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    first = told(week)
    asked = fetches(monkeypatch)
    outlooks = look_ahead(week)
    assert asked == []
    today_list(week, outlooks, review_items(week, outlooks))
    assert asked == [("B002",)]
    assert told(week) == first


def test_what_happens_to_one_vessel_is_worked_out_anew_for_it_alone(
    week: Farm, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, eyes: Eyes
) -> None:
    told(week)
    monkeypatch.setattr("farm.measure.series.open_eyes", lambda: eyes)
    asked = fetches(monkeypatch)
    add_event(week, "J001", "shaken", at("2026-03-09T12:00"))
    shelf_after = told(week)
    assert asked[0] == ("J001",)
    forget(week)
    assert told(week) == shelf_after
    measure_paths(week, [paint(tmp_path / "late" / "20260304_1800.png", ("B001", 33))], eyes=eyes)
    after = told(week)
    forget(week)
    assert told(week) == after


@pytest.mark.parametrize("when", ["2026-03-05T09:00", "2026-03-09T09:00", "2026-04-01T09:00"])
def test_another_moment_is_told_the_same_with_and_without_summaries(week: Farm, when: str) -> None:
    told(week)
    kept = told(week.at(at(when)))
    forget(week)
    assert told(week.at(at(when))) == kept
    assert all(one.taken_at <= at(when) for outlook in look_ahead(week.at(at(when))) for one in outlook.faces)


def test_a_shake_after_the_moment_is_not_known_at_it(week: Farm, eyes: Eyes) -> None:
    before = told(week.at(at("2026-03-13T09:00")))
    add_event(week, "B001", "shaken", at("2026-03-13T12:00"))
    read_stale_series(week, eyes=eyes)
    assert told(week.at(at("2026-03-13T09:00"))) == before


def test_a_reading_found_wrong_is_left_out_by_those_who_have_summaries(week: Farm) -> None:
    told(week)
    (first, *_) = list_readings(week, vessel="B001")
    item = replace(review_items(week, look_ahead(week))[0], vessel="B001", subject="wrong reading", reading=first)
    give_verdict(week, [item], "B001", "confirmed")
    assert wrong_readings(week) == {first.key: "B001"}
    (outlook,) = [one for one in look_ahead(week) if one.vessel.id == "B001"]
    assert outlook.left_out == (first,)
    assert len(outlook.readings) == len(DAYS) - 1
    assert first not in outlook.readings


def test_many_vessels_are_fetched_in_parts(week: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = told(week)
    monkeypatch.setattr(shelf, "AT_ONCE", 1)
    monkeypatch.setattr(shelf, "_HELD", 1)
    monkeypatch.setattr("farm.outlook.outlook.AT_ONCE", 1)
    forget(week)
    assert told(week) == whole


def test_a_summary_of_readings_that_have_changed_since_is_not_kept(week: Farm, eyes: Eyes) -> None:
    """As where another station measures while this one makes its list."""
    forget(week)
    with week.reading() as connection:
        revision = connection.scalar(select(vessels.c.revision).where(vessels.c.id == "B001"))
    opened = shelf.open_shelf(week)
    forget(week)
    add_event(week, "B001", "moved", at("2026-03-12T12:00"))
    read_stale_series(week, eyes=eyes)
    shelf.keep_summaries(week, {"B001": opened.summaries["B001"]}, {"B001": revision})
    with week.reading() as connection:
        assert connection.scalar(select(vessels.c.summary).where(vessels.c.id == "B001")) is None


def test_newest_reading_needs_no_fetching(week: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    told(week)
    asked = fetches(monkeypatch)
    outlooks: list[Outlook] = look_ahead(week)
    assert {one.vessel.id: one.last and one.last.percent for one in outlooks}["B001"] == 9 * DAYS[-1] - 20
    assert [len(one.readings) for one in outlooks] == [10, 10, 10]
    assert asked == []
    assert timedelta(0) <= week.now - max(one.last.taken_at for one in outlooks if one.last) < timedelta(days=1)
