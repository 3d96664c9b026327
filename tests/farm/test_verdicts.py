"""Verdicts: stored for one suspect by its place, undone, and their effect on the vessel and the lists."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from farm.lists import sort_into_sections
from farm.records import (
    close_vessel,
    get_vessel,
    import_vessels,
    list_verdicts,
    list_vessels,
    older_verdict,
    undo_verdict,
)
from farm.review import ReviewItem, give_verdict
from farm.store import Farm
from farm.store.errors import ReviewError
from tests.farm.by_hand import START, SeenOutlook, at_mm, frame, mark, outlook, reading, review_seen
from tests.values import known

HERE = frame()
UPPER, LOWER = at_mm(HERE, 20, 20, 10), at_mm(HERE, 90, 150, 10)


@pytest.fixture
def shelf(farm: Farm, vessels_csv: Path) -> Farm:
    import_vessels(farm, vessels_csv)
    return farm.at(START + timedelta(days=9))


def seen(farm: Farm, upper: float = 2.0, lower: float = 1.0) -> list[SeenOutlook]:
    """B001 with two green spots, one of which grew into the given area."""
    days = (
        reading(2, on=HERE),
        reading(4, mark(UPPER, 1.0), mark(LOWER, 1.0), on=HERE),
        reading(8, mark(UPPER, upper), mark(LOWER, lower), on=HERE),
    )
    return [outlook(get_vessel(farm, "B001"), *days)]


def keys(items: list[ReviewItem]) -> list[str]:
    return [item.key for item in items]


def test_a_verdict_holds_for_one_spot_not_for_all_of_its_colour(shelf: Farm) -> None:
    upper, lower = review_seen(shelf, seen(shelf))
    assert (upper.key, lower.key) == ("green, upper left", "green, middle")
    give_verdict(shelf, [upper, lower], "b001", "dismissed", subject=upper.key, by="Ann", note="tape")
    assert keys(review_seen(shelf, seen(shelf))) == [lower.key]
    told = {item.key: item for item in review_seen(shelf, seen(shelf), everything=True)}
    assert told[upper.key].standing == "dismissed"
    verdict = known(told[upper.key].verdict)
    assert (verdict.by, verdict.note) == ("Ann", "tape")


def test_a_colour_word_selects_every_open_suspect_of_that_colour(shelf: Farm) -> None:
    given = give_verdict(shelf, review_seen(shelf, seen(shelf)), "B001", "dismissed", subject="green")
    assert len(given) == 2
    assert review_seen(shelf, seen(shelf)) == []


@pytest.mark.parametrize(("now_cm2", "returns"), [(2.0, False), (2.9, False), (3.0, True), (30.0, True)])
def test_a_dismissed_suspect_returns_only_if_it_grew_by_the_factor_of_the_settings(
    shelf: Farm, now_cm2: float, returns: bool
) -> None:
    give_verdict(shelf, review_seen(shelf, seen(shelf)), "B001", "dismissed")
    items = review_seen(shelf, seen(shelf, upper=now_cm2))
    assert keys(items) == ["green, upper left"] * returns
    if returns:
        assert "grown since it was dismissed on" in items[0].why


def test_the_growth_factor_is_a_setting(shelf: Farm) -> None:
    give_verdict(shelf, review_seen(shelf, seen(shelf)), "B001", "dismissed")
    strict = replace(shelf, settings=shelf.settings.model_copy(update={"returns_when_times": 4.0}))
    assert review_seen(strict, seen(shelf, upper=7.0)) == []
    assert len(review_seen(strict, seen(shelf, upper=8.0))) == 1


@pytest.mark.parametrize(("quarantine", "state"), [(False, "contaminated"), (True, "quarantined")])
def test_confirming_removes_the_vessel_and_undo_brings_it_back(shelf: Farm, quarantine: bool, state: str) -> None:
    items = review_seen(shelf, seen(shelf))
    give_verdict(shelf, items, "B001", "confirmed", subject=items[0].key, quarantine=quarantine)
    assert get_vessel(shelf, "B001").state == state
    assert review_seen(shelf, seen(shelf)) == []
    assert sort_into_sections(shelf, seen(shelf), []) == []
    (back,) = undo_verdict(shelf, "B001", by="Bo")
    assert (back.verdict, back.undone_by) == ("confirmed", "Bo")
    assert get_vessel(shelf, "B001").state == "running"
    assert keys(review_seen(shelf, seen(shelf))) == keys(items)
    (kept,) = list_verdicts(shelf, "B001")
    assert kept.undone_at is not None


def test_undo_restores_the_verdict_before(shelf: Farm) -> None:
    items = review_seen(shelf, seen(shelf))
    give_verdict(shelf, items, "B001", "watched", subject=items[0].key)
    give_verdict(shelf, items, "B001", "dismissed", subject=items[0].key)
    undo_verdict(shelf, "B001")
    assert [item.watched for item in review_seen(shelf, seen(shelf)) if item.key == items[0].key] == [True]


def test_undo_keeps_a_vessel_removed_if_another_confirmation_exists(shelf: Farm) -> None:
    items = review_seen(shelf, seen(shelf))
    for item in items:
        give_verdict(shelf, items, "B001", "confirmed", subject=item.key)
        close_vessel(shelf, "B001", state="running")
    close_vessel(shelf, "B001", state="contaminated")
    undo_verdict(shelf, "B001")
    assert get_vessel(shelf, "B001").state == "contaminated"
    undo_verdict(shelf, "B001")
    assert get_vessel(shelf, "B001").state == "running"
    with pytest.raises(ReviewError, match="no verdict on B001"):
        undo_verdict(shelf, "B001")


def test_verdicts_given_together_are_undone_together(shelf: Farm) -> None:
    (one,) = seen(shelf)
    stalled = [replace(one, forecast=replace(one.forecast, status="stalled"))]
    given = give_verdict(shelf, review_seen(shelf, stalled), "B001", "confirmed")
    assert sorted(verdict.subject for verdict in given) == ["green", "green", "stall"]
    assert get_vessel(shelf, "B001").state == "contaminated"
    assert len(undo_verdict(shelf, "B001")) == 3
    assert get_vessel(shelf, "B001").state == "running"
    assert len(review_seen(shelf, stalled)) == 3


def test_confirming_a_stall_leaves_the_vessel_in_the_lists(shelf: Farm) -> None:
    (one,) = seen(shelf)
    stalled = [replace(one, forecast=replace(one.forecast, status="stalled"))]
    give_verdict(shelf, review_seen(shelf, stalled), "B001", "confirmed", subject="stall")
    assert get_vessel(shelf, "B001").state == "running"
    assert "stall" not in keys(review_seen(shelf, stalled))
    told = {item.key: item.standing for item in review_seen(shelf, stalled, everything=True)}
    assert told["stall"] == "confirmed"


def test_equal_names_are_numbered_and_the_former_colour_of_a_mould_is_accepted(shelf: Farm) -> None:
    near, far = at_mm(HERE, 10, 10, 8), at_mm(HERE, 10, 40, 8)
    days = (
        reading(2, on=HERE),
        reading(4, mark(near, 2.0, "grey"), mark(far, 1.0), on=HERE),
        reading(8, mark(near, 4.0), mark(far, 1.5), on=HERE),
    )
    items = review_seen(shelf, [outlook(get_vessel(shelf, "B001"), *days)])
    assert {item.names for item in items} == {
        ("green, upper left", "grey, upper left"),
        ("green, upper left 2",),
    }
    (given,) = give_verdict(shelf, items, "B001", "watched", subject="grey, upper left")
    assert (given.subject, given.area_cm2) == ("green", 4.0)


def test_a_confirmed_vessel_reopened_by_hand_is_to_look_at_and_not_ready(shelf: Farm) -> None:
    give_verdict(shelf, review_seen(shelf, seen(shelf)), "B001", "confirmed")
    close_vessel(shelf, "B001", state="running")
    items = review_seen(shelf, seen(shelf))
    assert len(items) == 2
    assert "and yet the vessel is in the lists" in items[0].why
    assert [one.section for one in sort_into_sections(shelf, seen(shelf), items)] == ["look"]


def test_suspects_below_the_threshold_are_visible_and_can_be_judged(shelf: Farm) -> None:
    still = [outlook(get_vessel(shelf, "B001"), *(reading(day, mark(UPPER), on=HERE) for day in (2, 4, 6, 8)))]
    assert review_seen(shelf, still) == []
    (item,) = review_seen(shelf, still, everything=True)
    assert (item.standing, item.why.split("; ")[1]) == ("below", "there since the first photo and not growing")
    with pytest.raises(ReviewError, match="nothing of green"):
        give_verdict(shelf, [item], "B001", "confirmed", subject="green")
    give_verdict(shelf, [item], "B001", "watched", subject=item.key)
    assert [one.watched for one in review_seen(shelf, still)] == [True]


def test_the_threshold_is_a_setting(shelf: Farm) -> None:
    nothing = replace(shelf, settings=shelf.settings.model_copy(update={"suspect_score": 1.0}))
    assert review_seen(nothing, seen(shelf)) == []


def test_an_old_verdict_without_a_place_holds_for_its_colour(shelf: Farm) -> None:
    from sqlalchemy import insert

    from farm.store.schema import reviews

    with shelf.writing() as connection:
        old = {"vessel": "B001", "subject": "green", "verdict": "dismissed", "area_cm2": 5.0, "at": START}
        connection.execute(insert(reviews).values(old))
    assert review_seen(shelf, seen(shelf)) == []


def test_a_list_of_an_earlier_day_has_no_later_verdict_and_no_later_closing(shelf: Farm) -> None:
    """A verdict is given now; as known before that, its suspect is open and its vessel runs."""
    items = review_seen(shelf, seen(shelf))
    give_verdict(shelf, items, "B001", "confirmed")
    (given,) = {one.at for one in list_verdicts(shelf)}
    assert len(list_verdicts(shelf)) == 2
    assert "B001" not in [one.id for one in list_vessels(shelf, state="running")]
    before, after = (shelf.as_known_at(given + timedelta(seconds=seconds)) for seconds in (-60, 60))
    assert list_verdicts(before) == []
    assert "B001" in [one.id for one in list_vessels(before, state="running")]
    assert list_vessels(before, state="contaminated") == []
    (then,) = list_vessels(before, ids=["B001"])
    assert keys(review_seen(before, [replace(one, vessel=then) for one in seen(shelf)])) == keys(items)
    assert len(list_verdicts(after)) == 2
    undo_verdict(shelf, "B001")
    assert all(one.undone_at is not None for one in list_verdicts(shelf))
    started = list_vessels(shelf)[0].inoculated_at
    assert list_vessels(shelf.as_known_at(started - timedelta(days=1))) == [], "not inoculated yet"


def test_a_repeated_undo_is_known_to_reach_further_back(shelf: Farm) -> None:
    items = review_seen(shelf, seen(shelf))
    assert older_verdict(shelf, "B001") is None
    give_verdict(shelf, items, "B001", "watched", subject=items[0].key)
    give_verdict(shelf, items, "B001", "dismissed", subject=items[0].key)
    assert older_verdict(shelf, "B001") is None
    undo_verdict(shelf, "B001")
    found = older_verdict(shelf, "b001")
    assert found is not None
    assert found.verdict == "watched"
    give_verdict(shelf, items, "B001", "dismissed", subject=items[0].key)
    assert older_verdict(shelf, "B001") is None
