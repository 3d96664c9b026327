"""Vessels: import, changes, closing, notes and events."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from farm.records import (
    add_event,
    add_note,
    add_vessels,
    close_vessel,
    get_vessel,
    import_events,
    import_vessels,
    list_events,
    list_vessels,
    moment,
    notes_of,
)
from farm.records.models import Vessel
from farm.store import Farm, now, to_instant
from farm.store.errors import EventError, InputFileError, UnknownVesselError


def test_importing_twice_adds_nothing(farm: Farm, vessels_csv: Path) -> None:
    first, second = (import_vessels(farm, vessels_csv) for _ in range(2))
    assert (first.added, first.same) == (3, 0)
    assert (second.added, second.same) == (0, 3)
    assert [vessel.id for vessel in list_vessels(farm)] == ["B001", "B002", "J001"]
    assert get_vessel(farm, "j001").inoculated_at == to_instant(datetime(2026, 3, 2), farm.zone)


def test_a_future_inoculation_refuses_the_whole_table(farm: Farm, tmp_path: Path) -> None:
    """Tomorrow may be due to a different clock or zone; next week is a typing error."""
    soon, later = now() + timedelta(hours=20), now() + timedelta(days=7)
    table = tmp_path / "vessels.csv"
    table.write_text(f"vessel,kind,inoculated\nB001,bag,{soon.isoformat()}\nB002,bag,{later.isoformat()}\n")
    with pytest.raises(InputFileError, match=r"line 3, column inoculated: .* has not come yet") as refused:
        import_vessels(farm, table)
    assert len(refused.value.problems) == 1
    with pytest.raises(InputFileError, match="has not come yet"):
        add_vessels(farm, [Vessel("B001", "bag", soon), Vessel("B002", "bag", later)])
    assert list_vessels(farm) == []
    add_vessels(farm, [Vessel("B001", "bag", soon)])


def test_changes_of_a_known_vessel_need_the_update_option(farm: Farm, vessels_csv: Path) -> None:
    import_vessels(farm, vessels_csv)
    close_vessel(farm, "B002")
    vessels_csv.write_text(vessels_csv.read_text().replace("oyster", "shiitake"))
    with pytest.raises(InputFileError, match="line 2, column vessel: B001 is in the farm already, with other values"):
        import_vessels(farm, vessels_csv)
    assert import_vessels(farm, vessels_csv, update_known=True).changed == 3
    assert {vessel.species for vessel in list_vessels(farm)} == {"shiitake"}
    assert get_vessel(farm, "B002").state == "closed"


def test_a_row_of_a_range_is_a_vessel_of_each(farm: Farm, tmp_path: Path) -> None:
    """It was taken for one vessel of that very name, which no label can have."""
    source = tmp_path / "vessels.csv"
    source.write_text("vessel,kind,inoculated\nB001..B003,bag,2026-03-01\nJ001,jar,2026-03-01\n")
    assert import_vessels(farm, source).added == 4
    assert [one.id for one in list_vessels(farm)] == ["B001", "B002", "B003", "J001"]
    source.write_text("vessel,kind,inoculated\nB009..B004,bag,2026-03-01\nB003..B005,jar,2026-03-01\n")
    with pytest.raises(InputFileError, match=r"(?s)line 2, column vessel: B009\.\.B004: .*line 3, .*: B003 is in"):
        import_vessels(farm, source)


def test_a_vessel_twice_in_a_file_is_reported(farm: Farm, vessels_csv: Path) -> None:
    vessels_csv.write_text(vessels_csv.read_text() + "B001,bag,oyster,sawdust,2026-03-01,,,\n")
    with pytest.raises(InputFileError, match="B001 stands on line 2 too"):
        import_vessels(farm, vessels_csv)


def test_unknown_columns_are_stored_as_notes_and_reported(farm: Farm, tmp_path: Path) -> None:
    source = tmp_path / "vessels.csv"
    source.write_text("id,kind,inoculated,colour,mood\nB1,bag,2026-03-01,top,good\n")
    assert import_vessels(farm, source).unknown_columns == ("colour", "mood")
    assert [note.text for note in notes_of(farm, "B1")] == ["colour: top; mood: good"]


def test_an_unknown_species_is_accepted_and_reported(farm: Farm, tmp_path: Path) -> None:
    source = tmp_path / "vessels.csv"
    source.write_text(
        "id,kind,inoculated,species\nB1,bag,2026-03-01,oister\nB2,bag,2026-03-01,oyster\nB3,bag,2026-03-01,\n"
    )
    assert import_vessels(farm, source).unknown_species == ("oister",)
    assert import_vessels(farm, source).unknown_species == ()  # nothing new


def test_a_vessel_cannot_be_its_own_source(farm: Farm, tmp_path: Path) -> None:
    source = tmp_path / "vessels.csv"
    source.write_text("id,kind,inoculated,source\nB1,bag,2026-03-01,b1\n")
    with pytest.raises(InputFileError, match="line 2, column source: 'b1': a vessel did not come from itself"):
        import_vessels(farm, source)
    assert list_vessels(farm) == []


def test_closing_keeps_the_records_and_reopening_restores_the_vessel(farm: Farm, vessels_csv: Path) -> None:
    import_vessels(farm, vessels_csv)
    add_note(farm, "B001", "moved to the warm shelf")
    closed = close_vessel(farm, "b001", why="expanded")
    assert closed.state == "closed"
    assert closed.closed_at is not None
    assert [vessel.id for vessel in list_vessels(farm, state="running")] == ["B002", "J001"]
    assert [note.text for note in notes_of(farm, "B001")] == ["moved to the warm shelf", "expanded"]
    assert close_vessel(farm, "B001", state="running").closed_at is None


def test_an_unknown_vessel_is_reported(farm: Farm) -> None:
    with pytest.raises(UnknownVesselError, match="no vessel B9"):
        get_vessel(farm, "B9")


def test_adding_an_existing_vessel_is_refused(farm: Farm, vessels_csv: Path) -> None:
    import_vessels(farm, vessels_csv)
    with pytest.raises(InputFileError, match="B001 is in the farm already"):
        add_vessels(farm, [get_vessel(farm, "B001")])


def test_events_are_stored_once(farm: Farm, vessels_csv: Path, tmp_path: Path) -> None:
    import_vessels(farm, vessels_csv)
    source = tmp_path / "events.csv"
    source.write_text("vessel,event,at\nJ001,shaken,2026-03-06T18:00Z\nJ001,Shaken,2026-03-06T18:00Z\n")
    assert import_events(farm, source).added == 1
    assert import_events(farm, source).added == 0
    add_event(farm, "J001", "shaken", datetime(2026, 3, 6, 18, tzinfo=UTC))
    assert len(list_events(farm)) == 1


def test_an_event_of_an_unknown_vessel_refuses_the_table(farm: Farm, vessels_csv: Path, tmp_path: Path) -> None:
    import_vessels(farm, vessels_csv)
    source = tmp_path / "events.csv"
    source.write_text("vessel,event,at\nJ001,shaken,2026-03-06\nJ009,shaken,2026-03-06\n")
    with pytest.raises(InputFileError, match="line 3, column vessel: no vessel J009"):
        import_events(farm, source)
    assert list_events(farm) == []


def test_all_errors_of_a_table_of_events_are_reported_in_order(farm: Farm, vessels_csv: Path, tmp_path: Path) -> None:
    import_vessels(farm, vessels_csv)
    source = tmp_path / "events.csv"
    source.write_text("vessel,event,at\nJ001,shaken,2099-01-01\nJ001,shook,2026-03-06\nJ009,moved,2026-03-06\n")
    with pytest.raises(InputFileError) as refused:
        import_events(farm, source)
    assert [one.split(":")[0] for one in refused.value.problems] == [
        "line 2, column at",
        "line 3, column event",
        "line 4, column vessel",
    ]


def test_impossible_events_refuse_the_table_and_are_reported_by_line(
    farm: Farm, vessels_csv: Path, tmp_path: Path
) -> None:
    """The same check as for a single event."""
    import_vessels(farm, vessels_csv)
    source = tmp_path / "events.csv"
    source.write_text("vessel,event,at\nJ001,shaken,2026-03-06\nJ001,shaken,2020-01-01\nB001,moved,2099-01-01\n")
    with pytest.raises(InputFileError) as refused:
        import_events(farm, source)
    first, second = refused.value.problems
    assert first.startswith("line 3, column at: 2020-01-01T00:00: J001 was inoculated later, 2026-03-02")
    assert second == "line 4, column at: 2099-01-01T00:00 has not come yet"
    assert list_events(farm) == []
    for line, problem in (("J001", first), ("B001", second)):
        at = to_instant(moment("2020-01-01" if line == "J001" else "2099-01-01"), farm.zone)
        with pytest.raises(EventError) as alone:
            add_event(farm, line, "shaken", at)
        assert problem.endswith(str(alone.value))


def test_an_event_one_day_ahead_is_accepted(farm: Farm, vessels_csv: Path) -> None:
    import_vessels(farm, vessels_csv)
    add_event(farm, "J001", "shaken", now() + timedelta(hours=23))
    with pytest.raises(EventError, match="has not come yet"):
        add_event(farm, "J001", "shaken", now() + timedelta(hours=25))
