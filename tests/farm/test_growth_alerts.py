"""Review items other than colour: a reading that does not fit is reported, judged and left out; signs are reviewed."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from farm.lists import changes_since, sort_into_sections
from farm.measure import measure_paths
from farm.outlook import list_outlooks, readings_of, what_is_seen
from farm.records import add_event, add_vessels, flag_words, list_readings, undo_verdict
from farm.records.models import Sign, Suspect, Vessel
from farm.review import give_verdict, review_items, vessels_to_look_at
from farm.store import Farm
from growth.data import Drop, Forecast
from growth.data.models import Status
from report.calendar import calendar_bytes
from tests.farm.by_hand import START, SeenOutlook, outlook, reading, review_seen, vessel
from tests.farm.painted import as_they_are, paint, painted_vision
from tests.values import known

DAYS = (3, 5, 7, 8, 9, 10, 11, 12)
PERCENTS = (2, 12, 28, 38, 90, 57, 66, 75)


@pytest.fixture
def slip(farm: Farm, tmp_path: Path) -> Farm:
    """A block with a reading of 90 % on day 9 between 38 and 57; without the painted second pass."""
    add_vessels(farm, [Vessel("B001", "block", START, species="oyster", substrate="sawdust")])
    for day, percent in zip(DAYS, PERCENTS, strict=True):
        paint(tmp_path / "photos" / f"202603{day + 1:02}_0800.png", ("B001", percent))
    plain = replace(painted_vision(), continue_series=as_they_are)
    measure_paths(farm, [tmp_path / "photos"], vision=plain)
    assert [one.percent for one in list_readings(farm)] == list(PERCENTS)
    return farm.at(START + timedelta(days=12.5))


def test_a_reading_that_does_not_fit_is_reported_with_its_photo_and_the_expected_percent(slip: Farm) -> None:
    (one,) = list_outlooks(slip)
    (misfit,) = one.misfits
    assert misfit.reading.percent == 90
    assert misfit.expected_percent == pytest.approx(47, abs=6)
    (item,) = review_items(slip, [one])
    assert (item.subject, item.key, item.urgency) == ("wrong reading", "wrong reading", "low")
    assert known(item.reading).photo.endswith("20260310_0800.png")
    assert item.why.startswith("90 % on Tue 10 Mar 2026 does not fit its curve (about 4")


def test_it_is_flagged_in_the_list_and_the_vessel_stays_in_its_section(slip: Farm) -> None:
    outlooks = list_outlooks(slip)
    (item,) = sort_into_sections(slip, outlooks, review_items(slip, outlooks), days=30)
    assert item.section != "look"
    assert "one photo does not fit the others: check it" in item.marks


def test_a_vessel_whose_newest_reading_does_not_fit_is_not_listed_as_ready(farm: Farm, tmp_path: Path) -> None:
    """A single photo, weeks after the vessel was through: its day may be wrong, or its vessel."""
    add_vessels(farm, [Vessel("B001", "block", START, species="oyster", substrate="sawdust")])
    paint(tmp_path / "photos" / "20260420_0800.png", ("B001", 18))
    measure_paths(farm, [tmp_path / "photos"], vision=painted_vision())
    late = farm.at(START + timedelta(days=60))
    outlooks = list_outlooks(late)
    (item,) = sort_into_sections(late, outlooks, review_items(late, outlooks))
    assert outlooks[0].forecast.status == "ready"
    assert item.section == "look"
    assert item.marks[:2] == ("one photo does not fit the others: check it", "do not use it until that is cleared")
    assert item.next_step == "look at it first"


def test_a_reading_confirmed_as_wrong_is_left_out_until_undo(slip: Farm) -> None:
    before = list_outlooks(slip)
    give_verdict(slip, review_items(slip, before), "B001", "confirmed", note="somebody's hand")
    (after,) = list_outlooks(slip)
    assert [one.percent for one in after.left_out] == [90]
    assert 90 not in [one.percent for one in readings_of(slip, ["B001"])["B001"].series]
    assert after.misfits == ()
    assert after.vessel.state == "running"
    assert review_items(slip, [after]) == []
    undo_verdict(slip, "B001")
    assert [one.reading.percent for one in list_outlooks(slip)[0].misfits] == [90]


def test_a_dismissed_misfit_is_used_and_not_asked_about_again(slip: Farm) -> None:
    give_verdict(slip, review_items(slip, list_outlooks(slip)), "B001", "dismissed")
    after = list_outlooks(slip)
    assert 90 in [one.percent for one in readings_of(slip, ["B001"])["B001"].series]
    assert review_items(slip, after) == []
    assert [one.standing for one in review_items(slip, after, everything=True)] == ["dismissed"]


def test_a_drop_is_reported_with_percents_and_day_also_after_a_rise(farm: Farm) -> None:
    fell = outlook(vessel("jar"), reading(5, percent=30), reading(7, percent=2), reading(13, percent=100))
    fell = replace(fell, forecast=Forecast("B001", "dropped", drop=Drop(5.0, 30.0, 7.0, 2.0, 6.5)))
    farm = replace(farm, settings=farm.settings.model_copy(update={"time_zone": "Etc/GMT-2"}))
    (item,) = review_seen(farm, [fell])
    assert item.why.startswith(
        "percent fell from 30 to 2 between Fri 6 Mar 2026 and Sun 8 Mar 2026: if it was shaken, note it with"
        " `spawnrun event B001 shaken --at 2026-03-07T22:00`"
    )
    assert item.since == START + timedelta(days=7)


def test_an_older_misfit_has_the_same_effect_on_list_calendar_plan_and_changes(slip: Farm) -> None:
    """None of them puts the vessel under "look first", since its newest readings fit."""
    outlooks = list_outlooks(slip)
    items = review_items(slip, outlooks)
    (row,) = sort_into_sections(slip, outlooks, items, days=30)
    assert ([one.subject for one in row.review], row.needs_look) == (["wrong reading"], False)
    assert b"look at it first" not in calendar_bytes(slip, [row])
    assert vessels_to_look_at(items) == []
    (before,) = sort_into_sections(slip, outlooks, [], days=30)
    assert [one.what for one in changes_since(slip, [row], [before], START + timedelta(days=12.2))] == []


def test_a_misfit_explained_by_a_mould_or_an_unrecorded_shake_is_not_asked_about(slip: Farm) -> None:
    (one,) = list_outlooks(slip)
    drop = Drop(7.0, 38.0, 8.0, 3.0, 7.5)
    asked = replace(one, forecast=replace(one.forecast, status="dropped", drop=drop))
    assert [item.subject for item in review_items(slip, [asked])] == ["drop"]
    spot = Suspect("green", 3.0, (4, 5, 6, 7), 0.99)
    faces = readings_of(slip, ["B001"])["B001"].faces
    mouldy = what_is_seen(one.vessel, [replace(face, suspects=(spot,)) for face in faces[-3:]], ())
    seen = review_items(slip, [replace(one, seen=mouldy)])
    assert [item.subject for item in seen] == ["green"]


def signed(*days: float, name: str = "wet_patch", status: Status = "colonising") -> SeenOutlook:
    mark = Sign(name, (200, 260, 40, 40), 3.0)
    seen = [replace(reading(day), signs=(mark,), flags=(name,)) for day in days]
    return outlook(vessel("jar"), reading(1), *seen, status=status)


def test_a_sign_is_reported_with_place_and_first_day(farm: Farm) -> None:
    (item,) = review_seen(farm, [signed(4, 6)])
    assert (item.subject, item.suspect, item.where) == ("wet patch", None, "lower right")
    assert item.since == START + timedelta(days=4)
    assert item.why.startswith("A patch of the grain has turned dark")
    (row,) = sort_into_sections(farm.at(START + timedelta(days=7)), [signed(4, 6)], [item])
    assert (row.section, row.marks) == ("look", ("wet patch: confirm or dismiss it",))


def test_a_sign_that_has_gone_is_not_reported(farm: Farm) -> None:
    gone = signed(4, 6)
    assert review_seen(farm, [replace(gone, faces=(*gone.faces, reading(8)))]) == []


def test_a_stalled_part_is_not_asked_about_if_the_vessel_has_stalled(farm: Farm) -> None:
    assert [one.subject for one in review_seen(farm, [signed(4, name="part_stalled")])] == ["stalled part"]
    whole = review_seen(farm, [signed(4, name="part_stalled", status="stalled")])
    assert [one.subject for one in whole] == ["stall"]


@pytest.mark.parametrize(("name", "state"), [("wet_patch", "contaminated"), ("sharp_front", "running")])
def test_of_the_signs_only_a_confirmed_wet_patch_is_contamination(farm: Farm, name: str, state: str) -> None:
    add_vessels(farm, [Vessel("B001", "jar", START)])
    give_verdict(farm, review_seen(farm, [signed(4, name=name)]), "B001", "confirmed")
    from farm.records import get_vessel

    assert get_vessel(farm, "B001").state == state


def test_a_sign_is_named_in_plain_words_and_answers_to_both_names(farm: Farm) -> None:
    add_vessels(farm, [Vessel("B001", "jar", START)])
    (item,) = review_seen(farm, [signed(4, 6, name="sharp_front")])
    assert (item.key, item.subject) == ("growth ends at an edge", "sharp front")
    for name in item.names:
        (given,) = give_verdict(farm, [item], "B001", "watched", subject=name)
        assert given.subject == "sharp front"
    assert flag_words(["sharp_front", "much_hidden"]) == "growth ends at an edge; much hidden"


def test_of_a_vessel_that_fruits_only_what_may_be_mould_is_up_for_review(farm: Farm) -> None:
    add_vessels(farm, [Vessel("B001", "bag", START, substrate="sawdust")])
    stalled = outlook(vessel(substrate="sawdust"), reading(3), reading(9, on=None), status="stalled")
    green = Suspect("green", 3.0, (1, 1, 5, 5), 0.9)
    spotted = outlook(vessel(substrate="sawdust"), reading(3), reading(9, green), status="stalled")
    later = farm.at(START + timedelta(days=12))
    assert [one.subject for one in review_seen(later, [stalled])] == ["stall"]
    add_event(later, "B001", "opened", START + timedelta(days=10))
    assert review_seen(later, [stalled]) == []
    assert [one.subject for one in review_seen(later, [spotted])] == ["green"]
    assert "stall" in [one.subject for one in review_seen(later, [stalled], everything=True)]
