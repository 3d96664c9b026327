"""What speaks against noting a step: something up for review refuses it, an early step gets a warning."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from farm.lists import sort_into_sections, step_cautions, step_cautions_of
from farm.outlook import Moments, list_outlooks
from farm.records import add_vessels, chosen_vessels
from farm.records.models import Vessel
from farm.review import give_verdict, review_items
from farm.store import Farm
from farm.store.errors import VesselChangeError

EVENING = datetime(2026, 3, 7, 20, tzinfo=UTC)


def test_an_open_suspect_refuses_every_step_but_throwing_out(week: Farm) -> None:
    grow = week.at(EVENING)
    chosen = chosen_vessels(grow, ["B001", "B002"])
    with pytest.raises(
        VesselChangeError, match=r"looked at first: B002 \(green patch: .*\); judge with `spawnrun review`"
    ):
        step_cautions(grow, chosen)
    with pytest.raises(VesselChangeError, match="B002"):
        step_cautions(grow, chosen, "opened")
    assert step_cautions(grow, chosen, "thrown_out") == []
    give_verdict(grow, review_items(grow, list_outlooks(grow)), "B002", "dismissed")
    assert step_cautions(grow, chosen) == [
        "not ready yet: B001 (63 % colonised), B002 (56 % colonised); noted all the same"
    ]


def test_vessels_without_a_photo_are_named_in_one_warning(week: Farm) -> None:
    add_vessels(week, [Vessel(f"X{n}", "bag", EVENING - timedelta(days=3), "oyster", "straw") for n in range(1, 4)])
    grow = week.at(EVENING)
    assert step_cautions(grow, chosen_vessels(grow, ["J001", "X1..X3"])) == [
        "no photo was read: J001, X1..X3; noted all the same"
    ]
    both = step_cautions(grow, chosen_vessels(grow, ["X2", "B001"]))
    assert [one.split(":")[0] for one in both] == ["not ready yet", "no photo was read"]


def test_what_was_ready_in_a_photo_of_weeks_ago_is_told(week: Farm) -> None:
    """It is photographed first: what has become of it since, nobody has seen."""
    outlooks = [replace(one, last=one.last and replace(one.last, percent=99.0)) for one in list_outlooks(week)]
    due = Moments(None, None, None)
    seen = [replace(one, forecast=replace(one.forecast, status="ready"), ready=due) for one in outlooks]
    for days, section in ((10, "ready"), (20, "due")):
        items = sort_into_sections(week.at(EVENING + timedelta(days=days)), seen, [])
        assert {one.section for one in items if one.outlook.last} == {section}
        assert step_cautions_of([one for one in items if one.outlook.vessel.id == "B001"]).early == (
            ("B001",) if section == "due" else ()
        )


def test_a_vessel_that_is_forecast_as_ready_is_told_from_one_that_was_photographed_since(week: Farm) -> None:
    later = week.at(EVENING + timedelta(days=30))
    (warning,) = step_cautions(later, chosen_vessels(later, ["B001"]))
    assert warning == "ready by forecast alone, no photo since: B001 (63 % colonised); noted all the same"
