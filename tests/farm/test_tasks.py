"""Today's list in few lines, and the weeks ahead, from outlooks written by hand."""

from dataclasses import replace
from datetime import date, timedelta

from farm.lists import SECTIONS, TodayItem, sort_into_sections, tasks_by_shelf, tasks_of, weeks_ahead
from farm.store import Farm
from tests.farm.by_hand import review_seen
from tests.farm.test_today import NOW, START, mark, outlook, reading


def items(farm: Farm) -> list[TodayItem]:
    """J: three ready jars of a batch on A1, one on A2; B001: green; B002, B003: due, of two batches; L1: later."""
    jars = [outlook("ready", 13.0, reading(13.5, 97 + n)) for n in range(4)]
    spotted = outlook("colonising", 30.0, reading(13.5, 40, mark(3.0)))
    due = [outlook("ready", 12.0, reading(6, 40)) for _ in range(2)]
    later = outlook("colonising", 40.0, reading(13.5, 20))
    places = [
        *((f"J00{n}", "jar", "JARS", "A2" if n == 3 else "A1") for n in range(4)),
        ("B001", "bag", "BAGS", "A1"), ("B002", "bag", "BAGS", "A1"), ("B003", "bag", "MORE", "A1"),
        ("L1", "block", "", ""),
    ]  # fmt: skip
    found = []
    for one, (name, kind, batch, shelf) in zip([*jars, spotted, *due, later], places, strict=True):
        vessel = replace(
            one.vessel, id=name, kind=kind, batch=batch, shelf=shelf, species="oyster", substrate="rye grain"
        )
        found.append(replace(one, vessel=vessel))
    return sort_into_sections(farm.at(NOW), found, review_seen(farm, found))


def test_vessels_of_a_batch_on_a_shelf_are_one_task(farm: Farm) -> None:
    tasks = tasks_of(items(farm))
    assert [(one.section, one.name, one.count, one.shelf) for one in tasks] == [
        ("look", "B001", "1 bag", "A1"),
        ("ready", "JARS", "3 jars", "A1"),
        ("ready", "J003", "1 jar", "A2"),
        ("due", "B002, B003", "2 bags", "A1"),
        ("later", "L1", "1 block", ""),
    ]
    assert [one.action for one in tasks] == [
        "green patch: confirm or dismiss it",
        "expand to more grain, or spawn to bulk",
        "expand to more grain, or spawn to bulk",
        "take a photo",
        "",
    ]
    assert (tasks[1].what, tasks[1].percent) == ("oyster on rye grain", (97.0, 99.0))
    assert tasks[1].ready == (START + timedelta(days=13), START + timedelta(days=13))
    assert sum(len(one.items) for one in tasks) == 8
    assert [one.section for one in tasks] == sorted((one.section for one in tasks), key=SECTIONS.index)


def test_by_shelf_stands_what_is_to_be_done_and_photos_come_last(farm: Farm) -> None:
    shelves = tasks_by_shelf(items(farm))
    assert list(shelves) == ["A1", "A2"]
    assert [one.name for one in shelves["A1"]] == ["B001", "JARS", "B002, B003"]


def test_a_task_of_many_kinds_and_substrates_names_the_most_frequent(farm: Farm) -> None:
    due = [replace(one, vessel=replace(one.vessel, id=f"X{n}", substrate=substrate, species=""))
           for n, substrate in enumerate(("oats", "rye", "oats", "millet", "rye", "oats"))
           for one in [outlook("ready", 12.0, reading(6, 40))]]  # fmt: skip
    (task,) = tasks_of(sort_into_sections(farm.at(NOW), due, []))
    assert (task.what, task.name) == ("oats, rye, others", "X0..X5")


def test_weeks_run_from_monday_and_today_holds_what_is_ready(farm: Farm) -> None:
    """15 March 2026 is a Sunday (ISO 8601: the last day of its week). What must be looked at first is not counted."""
    weeks = weeks_ahead(farm.at(NOW), items(farm), n_weeks=2)
    assert [len(week) for week in weeks] == [7, 7]
    assert (weeks[0][0].day, weeks[0][6].day) == (date(2026, 3, 9), date(2026, 3, 15))
    assert [one.is_past for one in weeks[0]] == [True] * 6 + [False]
    assert (weeks[0][6].is_today, weeks[0][6].ready) == (True, {"spawn": 6})
    assert sum(one.n_ready for week in weeks for one in week) == 6, "L1 comes on day 40"
