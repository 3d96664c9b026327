"""Today's list and the vessels to look at, from outlooks written by hand."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from calibration.kinds import Use
from farm.lists import sort_into_sections
from farm.outlook import Moments, daily_curve
from farm.records import add_vessels, undo_verdict
from farm.records.face_position import where_on_face
from farm.records.models import KeptReading, Suspect, Vessel
from farm.review import give_verdict
from farm.store import Farm
from growth.data import Curve, Drop, Forecast
from growth.data.models import Status
from tests.farm.by_hand import SeenOutlook, review_seen

START = datetime(2026, 3, 1, 8, tzinfo=UTC)
NOW = START + timedelta(days=14)


def reading(day: float, percent: float, *suspects: Suspect) -> KeptReading:
    return KeptReading(
        "x.jpg",
        f"{day}",
        0,
        START + timedelta(days=day),
        "camera",
        "ok",
        "B001",
        "bag",
        percent=percent,
        face_box=(100, 100, 300, 300),
        suspects=suspects,
    )


def mark(area_cm2: float, colour: str = "green", score: float = 0.9) -> Suspect:
    return Suspect(colour, area_cm2, (110, 350, 40, 40), score)


def outlook(
    status: Status, ready_day: float | None, *readings: KeptReading, notes: tuple[str, ...] = (),
    behind: float | None = None,
) -> SeenOutlook:  # fmt: skip
    days = (None, None, None) if ready_day is None else (ready_day, ready_day - 1, ready_day + 2)
    moments = Moments(*(None if day is None else START + timedelta(days=day) for day in days))
    drop = Drop(12.5, 30.0, 13.5, 5.0, 13.0) if status == "dropped" else None
    forecast = Forecast("B001", status, notes=notes, days_behind=behind, drop=drop)
    last = readings[-1] if readings else None
    vessel = Vessel("B001", "block", START)
    return SeenOutlook(vessel, (), forecast, moments, moments, last, n_readings=len(readings), faces=readings)


@pytest.mark.parametrize(
    ("one", "section", "marks"),
    [
        (outlook("ready", 13.0, reading(13.5, 99.5)), "ready", ()),
        (outlook("ready", 13.0, reading(6, 40)), "due", ("take a photo: due by now, the last is 8 days old",)),
        (outlook("ready", -6.0, reading(-5, 99.5)), "due", ("take a photo: the last is 19 days old",)),
        (outlook("ready", 6.0, reading(6, 99.5)), "ready", ("take a photo: the last is 8 days old",)),
        (outlook("colonising", 18.0, reading(13.5, 60)), "soon", ()),
        (outlook("colonising", 30.0, reading(13.5, 20)), "later", ()),
        (outlook("colonising", 30.0, reading(8, 20)), "later", ("take a photo: the last is 6 days old",)),
        (
            outlook("colonising", 30.0, reading(13, 20), behind=12.4),
            "look",
            ("12 days behind its batch: keep it or throw it out",),
        ),
        (outlook("colonised", 18.0, reading(13.5, 99.5)), "soon", ("colonised through: let it rest",)),
        (outlook("no readings", None), "unknown", ("take a photo: it has none yet",)),
        (outlook("no readings", 13.0), "due", ("take a photo: due by now, and none was taken",)),
        (outlook("stalled", None, reading(13.5, 50)), "look", ("growth has stopped: keep it or throw it out",)),
        (outlook("dropped", 30.0, reading(13.5, 5)), "look", ("percent fell: note the shake, or look at its photo",)),
        (
            outlook("ready", 13.0, reading(13.5, 99, mark(3.0))),
            "look",
            ("green patch: confirm or dismiss it", "do not use it until that is cleared"),
        ),
    ],
)
def test_each_state_has_its_section_and_flags(
    farm: Farm, one: SeenOutlook, section: str, marks: tuple[str, ...]
) -> None:
    (item,) = sort_into_sections(farm.at(NOW), [one], review_seen(farm, [one]))
    assert (item.section, item.marks, item.next_step) == (
        section,
        marks,
        "look at it first" if section == "look" else "move to fruiting conditions",
    )


@pytest.mark.parametrize(("shaken_day", "marks"), [(13.8, ("take a photo: it was shaken after the last",)), (13.2, ())])
def test_a_percent_from_before_a_shake_is_not_shown_without_a_word(
    farm: Farm, shaken_day: float, marks: tuple[str, ...]
) -> None:
    one = replace(outlook("colonising", 21.0, reading(13.5, 100)), shaken_at=(START + timedelta(days=shaken_day),))
    (item,) = sort_into_sections(farm.at(NOW), [one], review_seen(farm, [one]))
    assert item.marks == marks


DARK = "retake: far too dark; add light or expose longer"


@pytest.mark.parametrize(
    ("one", "marks"),
    [
        (outlook("no readings", None), ("take a photo: the newest gave no percent, far too dark",)),
        (outlook("colonising", 30.0, reading(8, 20)), ("take a photo: the newest gave no percent, far too dark",)),
        (outlook("colonising", 30.0, reading(12, 20)), ()),
    ],
)
def test_a_photo_that_gave_no_percent_is_not_forgotten(farm: Farm, one: SeenOutlook, marks: tuple[str, ...]) -> None:
    """Who took one this morning must not be told that the last is six days old."""
    refused = replace(reading(13.5, 0), status="retake", percent=None, reason=DARK)
    (item,) = sort_into_sections(farm.at(NOW), [replace(one, refused=refused)], [])
    assert item.marks == marks


def test_a_shake_after_a_photo_without_a_percent_is_said_first(farm: Farm) -> None:
    refused = replace(reading(13.3, 0), status="retake", percent=None, reason=DARK)
    one = replace(
        outlook("colonising", 30.0, reading(13.2, 20)), refused=refused, shaken_at=(START + timedelta(days=13.5),)
    )
    (item,) = sort_into_sections(farm.at(NOW), [one], [])
    assert item.marks == ("take a photo: it was shaken after the last",)


def of(one: SeenOutlook, kind: str, substrate: str, use: Use | None = None) -> SeenOutlook:
    return replace(one, vessel=replace(one.vessel, kind=kind, substrate=substrate, use=use))


@pytest.mark.parametrize(
    ("kind", "substrate", "use", "used_for", "step", "marks"),
    [
        ("bag", "sawdust", None, "fruiting", "move to fruiting conditions", ()),
        ("bag", "rye grain", None, "spawn", "expand to more grain, or spawn to bulk", ()),
        ("bag", "sawdust", "spawn", "spawn", "expand to more grain, or spawn to bulk", ()),
        ("jar", "liquid culture", None, "culture", "transfer to grain", ()),
        ("tub", "coir", None, "fruiting", "move to fruiting conditions", ()),
        (
            "bag", "", None, "spawn", "expand to more grain, or spawn to bulk",
            ("say what it is for: taken for spawn, as is usual for a bag: no substrate is given",),
        ),
        (
            "bag", "mix no. 7", None, "spawn", "expand to more grain, or spawn to bulk",
            ("say what it is for: taken for spawn, as is usual for a bag: its substrate is not known",),
        ),
    ],
)  # fmt: skip
def test_the_next_step_follows_from_the_use(
    farm: Farm, kind: str, substrate: str, use: Use | None, used_for: str, step: str, marks: tuple[str, ...]
) -> None:
    one = of(outlook("ready", 13.0, reading(13.5, 99.5)), kind, substrate, use)
    (item,) = sort_into_sections(farm.at(NOW), [one], [])
    assert (item.section, item.used_for, item.next_step, item.marks) == ("ready", used_for, step, marks)


def test_the_use_is_not_asked_for_long_before_a_vessel_is_ready(farm: Farm) -> None:
    one = of(outlook("colonising", 40.0, reading(13.5, 20)), "bag", "")
    assert sort_into_sections(farm.at(NOW), [one], [])[0].marks == ()


def test_a_confirmed_stall_is_not_to_be_expanded(farm: Farm) -> None:
    add_vessels(farm, [Vessel("B001", "bag", START, substrate="rye grain")])
    one = of(outlook("stalled", None, reading(13.5, 50)), "bag", "rye grain")
    give_verdict(farm, review_seen(farm, [one]), "B001", "confirmed")
    (item,) = sort_into_sections(farm.at(NOW), [one], review_seen(farm, [one]))
    assert (item.section, item.next_step) == ("unknown", "discard it, or give it more time")
    assert item.marks == ("stalled, as you confirmed: throw it out, or wait",)
    grown = of(outlook("colonising", 18.0, reading(13.5, 60)), "bag", "rye grain")
    (item,) = sort_into_sections(farm.at(NOW), [grown], [])
    assert (item.next_step, item.marks) == ("expand to more grain, or spawn to bulk", ()), "it grows again"
    undo_verdict(farm, "B001")
    assert sort_into_sections(farm.at(NOW), [one], [])[0].marks == ()


def test_the_days_ahead_define_the_border_between_soon_and_later(farm: Farm) -> None:
    one = outlook("colonising", 18.0, reading(13.5, 60))
    assert sort_into_sections(farm.at(NOW), [one], [], days=2)[0].section == "later"


def test_a_suspect_is_reported_with_its_growth_place_and_first_day(farm: Farm) -> None:
    one = outlook(
        "colonising",
        30.0,
        reading(4, 20),
        reading(6, 30, mark(1.0)),
        reading(8, 35),
        reading(10, 40, mark(3.0), mark(2.0)),
    )
    (item,) = review_seen(farm, [one])
    assert item.why == "green patch of 5.0 cm2, growing 1.0 cm2 a day"
    assert (item.where, item.since, item.urgency) == ("lower left", START + timedelta(days=6), "high")


def test_a_suspect_hidden_in_the_newest_photo_is_still_reported(farm: Farm) -> None:
    one = outlook("colonising", 30.0, reading(6, 30, mark(1.0, score=0.75)), reading(8, 35))
    (item,) = review_seen(farm, [one])
    assert item.why == "green patch of 1.0 cm2; not seen in the newest photo"
    assert item.urgency == "middle"
    gone = outlook("colonising", 30.0, reading(6, 30, mark(1.0)), reading(8, 35), reading(10, 40))
    assert review_seen(farm, [gone]) == []


def test_a_drop_under_a_spreading_mould_is_not_asked_about_as_well(farm: Farm) -> None:
    one = outlook("dropped", 30.0, reading(10, 60, mark(4.0)), reading(12, 20, mark(40.0)))
    assert [item.subject for item in review_seen(farm, [one])] == ["green"]


def test_the_most_urgent_comes_first(farm: Farm) -> None:
    one = outlook("stalled", None, reading(10, 40, mark(1.0, "grey", 0.6), mark(2.0, "green", 0.9)))
    assert [item.subject for item in review_seen(farm, [one])] == ["green", "grey", "stall"]


def test_a_curve_has_whole_days_until_shortly_after_the_vessel_is_through() -> None:
    curve = Curve((0.0, 4.0, 10.0, 40.0), (0.0, 20.0, 80.0, 100.0), (0.0, 10.0, 70.0, 99.0), (0.0, 30.0, 90.0, 100.0))
    one = outlook("colonising", 18.0, reading(3, 15))
    rows = daily_curve(replace(one, forecast=replace(one.forecast, curve=curve, through_high=6.0)))
    assert [row[0] for row in rows] == [0, 1, 2, 3, 4, 5, 6, 7, 8]
    assert rows[2] == (2.0, 10.0, 5.0, 15.0)
    assert rows[7] == pytest.approx((7.0, 50.0, 40.0, 60.0))
    assert daily_curve(one) == []


@pytest.mark.parametrize(
    ("left", "top", "words"),
    [
        (100, 100, "upper left"),
        (230, 230, "middle"),
        (380, 230, "right"),
        (230, 380, "lower"),
        # Thirds: the middle of the box lies at 195 and 205, at 295 and 305 of 100 to 400.
        (190, 190, "upper left"),
        (200, 200, "middle"),
        (290, 290, "middle"),
        (300, 300, "lower right"),
    ],
)
def test_the_place_on_the_face_in_words(left: int, top: int, words: str) -> None:
    assert where_on_face((left, top, 10, 10), (100, 100, 300, 300)) == words


def test_a_vessel_far_behind_its_batch_is_judged_once_and_then_left_alone(farm: Farm) -> None:
    add_vessels(farm, [Vessel("B001", "block", START)])
    one = outlook("colonising", 30.0, reading(13, 20), behind=12.4)
    (item,) = review_seen(farm, [one])
    assert (item.subject, item.urgency, item.holds_back) == ("far behind", "low", True)
    give_verdict(farm, [item], "B001", "dismissed")
    (left,) = sort_into_sections(farm.at(NOW), [one], review_seen(farm, [one]))
    assert (left.section, left.marks) == ("later", ("12 days behind the rest of its batch",))
    undo_verdict(farm, "B001")
    (again,) = sort_into_sections(farm.at(NOW), [one], review_seen(farm, [one]))
    assert again.section == "look"
    # What is through already is ready, however late it was.
    late = outlook("ready", 13.0, reading(13.5, 99.5), behind=12.4)
    (ready,) = sort_into_sections(farm.at(NOW), [late], review_seen(farm, [late]))
    assert ready.section == "ready"
