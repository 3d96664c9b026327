"""The calendar, read by an independent library (vobject), and checked line by line against RFC 5545."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from shutil import copytree

import pytest
import vobject

from farm.fruiting import record_harvest
from farm.lists import list_today
from farm.outlook import bring_up_to_date, list_outlooks
from farm.records import add_vessels, chosen_vessels, close_vessel, mark_done
from farm.records.models import Vessel
from farm.store import Farm, farm_identity, on_farm_clock, open_farm
from report import write_calendar
from report.calendar import CalendarError, calendar_bytes
from tests.outside.conftest import Tell
from tests.values import known

NOW = datetime(2026, 3, 12, 20, tzinfo=UTC)


def written(farm: Farm, at: datetime = NOW) -> bytes:
    farm = farm.at(at)
    return calendar_bytes(farm, list_today(farm, bring_up_to_date(farm)))


def events(content: bytes) -> dict[str, vobject.base.Component]:
    """Events by vessel, which is the first word of the summary."""
    calendar = vobject.readOne(content.decode("utf-8"))
    return {event.summary.value.split(":")[0]: event for event in calendar.vevent_list}


def test_each_vessel_has_an_all_day_event_on_the_farms_clock(shelf: Farm, tell: Tell) -> None:
    told = events(written(shelf))
    tell("events of three vessels' calendar", "vobject, an independent reader; RFC 5545", "3", str(len(told)))
    assert sorted(told) == ["B001", "B002", "B003"]
    for outlook in list_outlooks(shelf.at(NOW)):
        event = told[outlook.vessel.id]
        day = on_farm_clock(known(outlook.ready.median), shelf.zone).date()
        if "look" not in event.summary.value:
            assert event.dtstart.value == max(day, date(2026, 3, 12))
        # RFC 5545, 3.6.1: the end of an all-day event is the day after it.
        assert event.dtend.value == event.dtstart.value + timedelta(days=1)
        assert "80 % sure" in event.description.value


def test_a_suspect_is_an_event_of_today_with_the_cautions(shelf: Farm) -> None:
    event = events(written(shelf))["B002"]
    assert event.summary.value.startswith("B002: look at it first (green patch: confirm or dismiss it")
    assert event.dtstart.value == date(2026, 3, 12)
    assert "Do not open it and do not sniff at it." in event.description.value
    assert "ready to" not in event.summary.value


def test_an_event_names_the_next_step_of_a_vessel(shelf: Farm) -> None:
    """The shelf has bags of sawdust, a plate of agar (to grain) and a bag of rye (to be divided)."""
    start = datetime(2026, 3, 1, 8, tzinfo=UTC)
    add_vessels(shelf, [Vessel("P1", "plate", start, substrate="agar"), Vessel("G1", "bag", start, substrate="rye")])
    told = {name: event.summary.value for name, event in events(written(shelf)).items()}
    assert told["B001"] == "B001: ready to fruit"
    assert told["P1"] == "P1: ready to transfer to grain"
    assert told["G1"] == "G1: ready to expand to more grain, or to spawn to bulk"
    late = events(written(shelf, NOW + timedelta(days=60)))
    assert late["P1"].summary.value == "P1: take a photo (by its forecast ready to transfer to grain)"


def test_importing_again_moves_the_event_without_adding_one(shelf: Farm, tmp_path: Path) -> None:
    first, second = events(written(shelf, NOW)), events(written(shelf, NOW + timedelta(days=3)))
    assert {vessel: event.uid.value for vessel, event in first.items()} == {
        vessel: event.uid.value for vessel, event in second.items()
    }
    assert len({event.uid.value for event in first.values()}) == 3
    for vessel, event in first.items():
        assert int(second[vessel].sequence.value) > int(event.sequence.value)
    shelf.close()
    copytree(shelf.folder, tmp_path / "moved")
    with open_farm(tmp_path / "moved") as moved:
        assert events(written(moved))["B001"].uid.value == first["B001"].uid.value


def test_two_farms_with_the_same_ids_do_not_disturb_each_other(shelf: Farm, tmp_path: Path) -> None:
    from farm.store import create_farm

    with create_farm(tmp_path / "other") as other:
        assert farm_identity(other) != farm_identity(shelf)
        assert farm_identity(other) == farm_identity(other)


def test_the_event_of_a_closed_vessel_is_cancelled_and_later_left_out(shelf: Farm) -> None:
    uid = events(written(shelf))["B001"].uid.value
    close_vessel(shelf, "B001")
    closed_at = datetime.now(UTC)
    event = events(written(shelf, closed_at))["B001"]
    assert (event.uid.value, event.status.value) == (uid, "CANCELLED")
    assert "B001" not in events(written(shelf, closed_at + timedelta(days=200)))


def test_lines_are_folded_and_terminated_as_the_standard_says(shelf: Farm) -> None:
    """RFC 5545, 3.1: CR LF, at most 75 octets, no UTF-8 character split; 3.6: version and product."""
    odd = 'a, b; "c" \\ Größe <b> שלום \N{RIGHT-TO-LEFT OVERRIDE}\x07\r\nEND:VEVENT ' + "ü" * 90
    add_vessels(shelf, [Vessel("Z1", "block", datetime(2026, 3, 1, tzinfo=UTC), species="shiitake", batch=odd)])
    content = written(shelf)
    lines = content.split(b"\r\n")
    assert lines[-1] == b""
    assert all(len(line) <= 75 for line in lines)
    for line in lines:
        line.decode("utf-8")
        assert b"\n" not in line
        assert b"\x07" not in line
    assert b"VERSION:2.0" in lines
    assert any(line.startswith(b"PRODID:") for line in lines)
    description = events(content)["Z1"].description.value
    assert 'a, b; "c" \\ Größe <b> שלום' in description
    assert "ü" * 90 in description
    assert "\N{RIGHT-TO-LEFT OVERRIDE}" not in description
    assert content.count(b"\r\nEND:VEVENT") == 4


def test_a_path_that_cannot_be_written_is_reported(shelf: Farm, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(CalendarError, match="cannot be written"):
        write_calendar(shelf, [], tmp_path / "file" / "calendar.ics")


def test_each_day_has_one_reminder_at_eight_however_many_vessels(shelf: Farm) -> None:
    """RFC 5545, 3.6.6: a display alarm has action, trigger and description; the trigger counts from the start."""
    start = datetime(2026, 3, 1, 8, tzinfo=UTC)
    add_vessels(shelf, [Vessel(f"P{n}", "plate", start, substrate="agar") for n in range(4)])
    days: dict[date, int] = {}
    for event in events(written(shelf)).values():
        alarms = event.contents.get("valarm", [])
        if event.status.value == "TENTATIVE":
            days[event.dtstart.value] = days.get(event.dtstart.value, 0) + len(alarms)
        for alarm in alarms:
            assert (alarm.action.value, alarm.trigger.value) == ("DISPLAY", timedelta(hours=8))
            assert "more may be due today" in alarm.description.value
    assert set(days.values()) == {1}


def test_the_event_of_what_fruits_moves_from_harvest_to_harvest_until_it_is_spent(shelf: Farm) -> None:
    """Days of oyster in the species table: 7 to the first harvest, 7.5 from flush to flush."""
    ready = events(written(shelf))["B001"]
    mark_done(shelf, chosen_vessels(shelf, ["B001"]), NOW - timedelta(hours=1))
    first = events(written(shelf))["B001"]
    assert first.uid.value == ready.uid.value
    assert (first.summary.value, first.dtstart.value) == ("B001: harvest flush 1", date(2026, 3, 19))
    assert "Nothing here says that a mushroom is fit to eat" in first.description.value
    assert "colonised" not in first.description.value
    record_harvest(shelf.at(NOW + timedelta(days=7)), chosen_vessels(shelf, ["B001"]), 0.5, NOW + timedelta(days=7))
    second = events(written(shelf, NOW + timedelta(days=8)))["B001"]
    assert (second.summary.value, second.dtstart.value) == ("B001: harvest flush 2", date(2026, 3, 27))
    mark_done(shelf.at(NOW + timedelta(days=9)), chosen_vessels(shelf, ["B001"]), NOW + timedelta(days=9), "spent")
    assert events(written(shelf, NOW + timedelta(days=9)))["B001"].status.value == "CANCELLED"
