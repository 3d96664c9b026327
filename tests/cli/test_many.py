"""Commands that act on many vessels at once, and how each is taken back."""

import io
import json
from pathlib import Path

import pytest

from tests.cli.conftest import Spawnrun

FARM = ("--farm", "home")


class Terminal(io.StringIO):
    """Standard input with a person at it."""

    def isatty(self) -> bool:
        return True


def vessels(spawnrun: Spawnrun) -> dict[str, dict[str, object]]:
    found = json.loads(spawnrun("vessel", "list", "--all", "--format", "json", *FARM).out)
    return {one["vessel"]: one for one in found}


def test_ranges_are_shaken_moved_closed_and_noted_on(spawnrun: Spawnrun, week: Path) -> None:
    shaken = spawnrun("event", "B001..B002", "J001", "shaken", "--at", "2026-03-08", *FARM)
    assert shaken.out == "B001, B002, J001: shaken at 2026-03-08T00:00\n"
    gone = spawnrun("event", "B001..B002", "J001", "shaken", "--at", "2026-03-08", "--remove", *FARM)
    assert gone.out == "B001, B002, J001: shaken at 2026-03-08T00:00 taken back\n"
    moved = spawnrun("vessel", "move", "B001,B002", "--shelf", "A2", *FARM)
    assert moved.out == "B001, B002: on shelf A2\n"
    assert moved.err == "to take it back: spawnrun vessel move B001 B002 --no-shelf --farm home\n"
    assert [vessels(spawnrun)[one]["shelf"] for one in ("B001", "B002", "J001")] == ["A2", "A2", ""]
    assert spawnrun("vessel", "close", "B001..B002", "--at", "2026-03-13", *FARM).out == "B001, B002 are closed\n"
    assert "B001" not in spawnrun("vessel", "list", *FARM).out
    assert spawnrun("vessel", "close", "B001..B002", "--reopen", *FARM).out == "B001, B002 are running\n"
    assert spawnrun("vessel", "note", "B001", "B002", "warm shelf", *FARM).out == "noted on B001, B002\n"
    wrong = spawnrun("vessel", "note", "B001", "cold", "--undo", *FARM)
    assert (wrong.code, wrong.err) == (2, "spawnrun: the newest note on B001 is 'warm shelf'\n")
    assert spawnrun("vessel", "note", "B001", "warm", "--undo", *FARM).out == "note taken back from B001\n"
    assert "warm shelf" not in spawnrun("vessel", "show", "B001", *FARM).out
    strange = spawnrun("event", "B001..B004", "shaken", *FARM)
    assert strange.code == 2
    assert "no vessel B003, B004" in strange.err


def test_a_step_is_done_in_one_line_with_its_new_vessels_and_taken_back(spawnrun: Spawnrun, week: Path) -> None:
    before = vessels(spawnrun)
    place = ("--kind", "bag", "--substrate", "straw", "--batch", "NEXT", "--shelf", "B1")
    done = spawnrun("done", "B001", "--at", "2026-03-14", "--into", "N01..N04", *place, *FARM)
    assert done.out == "B001: spawned at 2026-03-14T00:00, made N01..N04\n"
    assert done.err == "to take it back: spawnrun done B001 --undo --farm home\n"
    made = vessels(spawnrun)["N02"]
    assert (made["source"], made["batch"], made["shelf"], made["substrate"]) == ("B001", "NEXT", "B1", "straw")
    assert "B001" not in spawnrun("ready", *FARM).out
    back = spawnrun("done", "B001", "--undo", *FARM)
    assert back.out == "B001: spawned at 2026-03-14T00:00, made N01..N04 taken back\n"
    assert vessels(spawnrun) == before
    out = spawnrun("done", "B002", "J001", "--as", "thrown-out", *FARM)
    assert out.out == "B002, J001: thrown out at 2026-03-14T20:00\n"
    for said in ("thrown out", "thrown_out", "Thrown-Out"):
        assert spawnrun("done", "B002", "J001", "--undo", *FARM).code == 0
        assert spawnrun("done", "B002", "J001", "--as", said, *FARM).out == out.out
    assert "'thrown ut' is none of transferred, spawned" in spawnrun("done", "B001", "--as", "thrown ut", *FARM).err
    assert spawnrun("done", "B002", "J001", "--undo", *FARM).code == 0
    assert vessels(spawnrun) == before
    assert "--kind" in spawnrun("done", "B001", "--into", "N1", *FARM).err


def test_new_vessels_that_include_their_source_are_refused_in_one_line(spawnrun: Spawnrun, week: Path) -> None:
    before = vessels(spawnrun)
    refused = spawnrun("done", "B001", "--into", "B001..B003", "--kind", "bag", *FARM)
    assert (refused.code, refused.out) == (2, "")
    assert refused.err == "spawnrun: B001 from B001: a vessel did not come from itself\n"
    assert vessels(spawnrun) == before


def test_a_mistyped_vessel_is_renamed_or_removed(spawnrun: Spawnrun, week: Path) -> None:
    spawnrun("vessel", "add", "B0O3", "--kind", "bag", "--inoculated", "2026-03-02", *FARM)
    assert spawnrun("vessel", "rename", "B0O3", "B003", *FARM).out == "B0O3 is now B003\n"
    assert spawnrun("vessel", "rename", "B003", "B_3", *FARM).code == 2
    assert spawnrun("vessel", "remove", "B003", *FARM).out == "removed B003\n"
    kept = spawnrun("vessel", "remove", "B001", *FARM)
    assert kept.code == 2
    assert "6 readings" in kept.err
    assert set(vessels(spawnrun)) == {"B001", "B002", "J001"}


def test_dates_are_read_in_the_farm_s_order(spawnrun: Spawnrun, week: Path) -> None:
    asked = spawnrun("event", "B001", "shaken", "--at", "7/3/2026", *FARM)
    assert asked.code == 2
    assert "is it 7 March or 3 July?" in asked.err
    settings = Path("home", "farm.toml")
    settings.write_text(settings.read_text().replace('date_order = ""', 'date_order = "day first"'))
    assert spawnrun("event", "B001", "shaken", "--at", "7/3/2026 18:00", *FARM).out == (
        "B001: shaken at 2026-03-07T18:00\n"
    )
    added = spawnrun("vessel", "add", "X1", "--kind", "bag", "--inoculated", "03.02.2026", *FARM)
    assert added.code == 0
    assert vessels(spawnrun)["X1"]["inoculated_at"] == "2026-02-03T00:00"


def test_a_list_of_an_earlier_day_does_not_know_later_verdicts(spawnrun: Spawnrun, week: Path) -> None:
    """The verdict is given by the machine's clock, long after the photos."""
    assert spawnrun("review", "confirm", "B002", *FARM).code == 0
    assert "Out as contaminated: B002" in spawnrun("ready", *FARM).out
    early = spawnrun("ready", "--as-of", "2026-03-14T20:00", *FARM).out
    assert "Out as contaminated" not in early
    assert "green patch: confirm or dismiss it" in early
    assert "B001" not in spawnrun("ready", "--as-of", "2026-02-27", *FARM).out


def test_a_repeated_undo_asks_before_it_takes_back_something_older(
    spawnrun: Spawnrun, week: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for verdict in ("watch", "dismiss"):
        assert spawnrun("review", verdict, "B002", *FARM).code == 0
    assert spawnrun("review", "undo", "B002", *FARM).code == 0
    asked = spawnrun("review", "undo", "B002", *FARM)
    assert asked.code == 2
    assert "the last verdict was taken back already; take back green watched on" in asked.err
    monkeypatch.setattr("sys.stdin", Terminal("n\n"))
    assert spawnrun("review", "undo", "B002", *FARM).code == 1
    monkeypatch.setattr("sys.stdin", Terminal("y\n"))
    assert "B002: green no longer watched" in spawnrun("review", "undo", "B002", *FARM).out
    for verdict in ("watch", "dismiss"):
        assert spawnrun("review", verdict, "B002", *FARM).code == 0
    assert spawnrun("review", "undo", "B002", *FARM).code == 0
    assert spawnrun("review", "undo", "B002", "--yes", *FARM).out == "B002: green no longer watched\n"


def test_every_list_uses_the_farm_s_units(spawnrun: Spawnrun, week: Path) -> None:
    settings = Path("home", "farm.toml")
    text = (
        settings.read_text().replace('lengths = "cm"', 'lengths = "inches"').replace('weights = "kg"', 'weights = "lb"')
    )
    settings.write_text(text.replace('temperatures = "C"', 'temperatures = "F"'))
    sizes = ("--face-width", "7.5", "--face-height", "30cm", "--diameter", "4", "--temperature", "68")
    added = spawnrun("vessel", "add", "X1", "--kind", "bag", "--inoculated", "2026-03-02", *sizes, *FARM)
    assert added.code == 0
    kept = vessels(spawnrun)["X1"]
    assert [kept[one] for one in ("face_width_mm", "face_height_mm", "diameter_mm", "temperature_c")] == [
        190.5,
        300.0,
        101.6,
        20.0,
    ]
    shown = spawnrun("vessel", "show", "X1", *FARM).out
    assert "face width      7.5 in" in shown
    assert "temperature     68 °F" in shown
    assert "sq in, growing" in spawnrun("review", "list", *FARM).out
    assert "green 2.17 sq in" in spawnrun("vessel", "show", "B002", *FARM).out
    assert "optimum °F" in spawnrun("species", *FARM).out
    assert "temperature optimum F" in spawnrun("species", "oyster", *FARM).out
    assert "temperature optimum c" not in spawnrun("species", "oyster", *FARM).out
    assert "(lb)" in spawnrun("plan", *FARM).out
    assert "lb" in spawnrun("plan", "--target", "40 oyster blocks by 2026-12-12", *FARM).out
    assert " kg" not in spawnrun("plan", "--target", "40 oyster blocks by 2026-12-12", *FARM).out
    assert spawnrun("compare", *FARM).code == 0


def test_a_verdict_is_stored_for_all_given_vessels_or_for_none(spawnrun: Spawnrun, week: Path) -> None:
    refused = spawnrun("review", "dismiss", "B002", "B001", *FARM)
    assert refused.code == 2
    assert "nothing is up for review on B001" in refused.err
    assert json.loads(spawnrun("review", "list", "--format", "json", *FARM).out)[0]["verdict"] is None
    assert spawnrun("review", "dismiss", "B002..B002", *FARM).out == "B002: green dismissed\n"


def test_a_vessel_to_look_at_is_not_done_with_and_an_early_step_is_told(spawnrun: Spawnrun, week: Path) -> None:
    before = vessels(spawnrun)
    refused = spawnrun("done", "J001", "B002", *FARM)
    assert (refused.code, refused.out) == (2, "")
    assert "to be looked at first: B002 (green patch: confirm or dismiss it)" in refused.err
    assert refused.err.endswith("nothing was noted; the others are J001\n")
    assert "the others" not in spawnrun("done", "B002", *FARM).err
    assert vessels(spawnrun) == before
    early = spawnrun("done", "B001", "J001", *FARM)
    assert early.out == "B001, J001: spawned at 2026-03-14T20:00\n"
    assert early.err.splitlines()[0] == "warning: not ready yet: J001 (2 % colonised); noted all the same"
    assert spawnrun("done", "B002", "--as", "thrown-out", *FARM).code == 0


def test_new_vessels_of_an_assumed_use_are_told_as_when_they_are_added(spawnrun: Spawnrun, week: Path) -> None:
    told = spawnrun("vessel", "add", "N1", "N2..N4", "--kind", "bag", "--inoculated", "2026-03-14", *FARM)
    added, back = told.err.splitlines()
    assert (told.out, back) == (
        "added N1..N4 (4 vessels)\n",
        "to take it back: spawnrun vessel remove N1 N2..N4 --farm home",
    )
    assert "counted as is usual: 4 bags for " in added
    made = spawnrun("done", "B001", "--into", "N5..N8", "--kind", "bag", *FARM)
    assert added in made.err
    told = spawnrun("done", "J001", "--into", "N9", "--kind", "bag", "--substrate", "sawdust", *FARM)
    assert (told.code, "counted as is usual" in told.err) == (0, False)


def test_an_event_or_a_move_of_a_closed_or_contaminated_vessel_is_warned_of(spawnrun: Spawnrun, week: Path) -> None:
    back = "to take it back: spawnrun event B001..B002 moved --at 2026-03-14T20:00 --remove --farm home\n"
    assert spawnrun("event", "B001..B002", "moved", *FARM).err == back
    taken_back = "B001, B002: moved at 2026-03-14T20:00 taken back\n"
    assert spawnrun(*back.removeprefix("to take it back: spawnrun ").split()).out == taken_back
    assert spawnrun("vessel", "close", "J001", *FARM).code == 0
    assert spawnrun("review", "confirm", "B002", *FARM).code == 0
    warning = "warning: no longer on the lists: J001 (closed), B002 (contaminated); noted all the same"
    shaken = spawnrun("event", "B001..B002", "J001", "shaken", "--at", "2026-03-14", *FARM)
    assert (shaken.code, shaken.err.splitlines()[0]) == (0, warning)
    moved = spawnrun("vessel", "move", "B002", "J001", "--shelf", "A2", *FARM)
    assert (moved.code, moved.err.splitlines()[0]) == (0, warning)
    assert spawnrun("event", "J001", "shaken", "--at", "2026-03-14", "--remove", *FARM).err == ""


def test_days_are_typed_as_words(spawnrun: Spawnrun, week: Path) -> None:
    """The farm's now is 14 March, 20:00."""
    assert spawnrun("event", "B001", "moved", "--at", "yesterday", *FARM).out == "B001: moved at 2026-03-13T00:00\n"
    assert spawnrun("event", "B001", "moved", "--at", "today 9:15", *FARM).out == "B001: moved at 2026-03-14T09:15\n"
    assert "as of 2026-03-13 23:59:59" in spawnrun("ready", "--as-of", "yesterday", *FARM).out
    assert spawnrun("vessel", "add", "N1", "--kind", "bag", "--inoculated", "2 days ago", *FARM).code == 0
    assert vessels(spawnrun)["N1"]["inoculated_at"] == "2026-03-12T00:00"
    assert "not a date or time" in spawnrun("event", "B001", "moved", "--at", "soon", *FARM).err


def test_a_note_on_a_closed_vessel_is_kept_with_a_warning(spawnrun: Spawnrun, week: Path) -> None:
    closed = spawnrun("vessel", "close", "B001", *FARM)
    assert closed.err == "to take it back: spawnrun vessel close B001 --reopen --farm home\n"
    noted = spawnrun("vessel", "note", "B001", "was dry", *FARM)
    assert noted.out == "noted on B001\n"
    assert "warning: no longer on the lists: B001 (closed); noted all the same" in noted.err
    assert "to take it back: spawnrun vessel note B001 'was dry' --undo --farm home" in noted.err
    assert spawnrun("vessel", "note", "B001", "was", "--undo", *FARM).err == ""


def test_what_is_new_is_counted_for_the_use_that_is_asked_for(spawnrun: Spawnrun, week: Path) -> None:
    """B002 is the only one of sawdust, for fruiting."""
    assert spawnrun("vessel", "close", "B001", "--at", "2026-03-14T12:00", *FARM).code == 0
    assert "1 closed" in spawnrun("ready", *FARM).out
    assert "1 closed" in spawnrun("ready", "--use", "spawn", *FARM).out
    assert "1 closed" not in spawnrun("ready", "--use", "fruiting", *FARM).out


def test_below_a_list_stand_the_first_cautions_and_where_all_are(spawnrun: Spawnrun, week: Path) -> None:
    short, full = spawnrun("ready", *FARM).out, spawnrun("review", "list", *FARM).out
    assert "Leave the vessel closed" in short
    assert "asthma" not in short
    assert "All cautions, and what a colour commonly is: spawnrun review list --farm home" in short
    assert "asthma" in full
    assert "Green is commonly" in full


def test_a_curve_shows_the_days_around_now_and_all_of_them_on_demand(spawnrun: Spawnrun, week: Path) -> None:
    short, full = spawnrun("curve", "B002", *FARM).out, spawnrun("curve", "B002", "--all", *FARM).out
    assert "curve B002 --all --farm home" in short
    assert "curve B002 --all" not in full
    assert len(full.splitlines()) > len(short.splitlines()) + 8
    days = [line.split()[1] for line in short.split("Curve, one line a day")[1].splitlines()[2:16]]
    assert days[0] < "2026-03-14" < days[-1]
    assert days == sorted(days)
    early = spawnrun("curve", "B002", "--as-of", "2026-09-14", *FARM).out
    assert len(early.split("Curve, one line a day")[1].split("\n\n")[0].splitlines()) == 16


def test_a_note_taken_back_again_is_asked_about(spawnrun: Spawnrun, week: Path) -> None:
    """The same is often noted twice: the second undo would take back the older one."""
    for _ in range(2):
        assert spawnrun("vessel", "note", "B001..B002", "turned", *FARM).code == 0
    assert spawnrun("vessel", "note", "B001", "turned", "--undo", *FARM).code == 0
    again = spawnrun("vessel", "note", "B001..B002", "turned", "--undo", *FARM)
    assert again.code == 2
    assert "B001: the last note was taken back already; take back an older one too? --yes" in " ".join(
        again.err.split()
    )
    assert spawnrun("vessel", "note", "B001", "turned", "--undo", "--yes", *FARM).code == 0
    assert spawnrun("vessel", "note", "B002", "turned", "--undo", *FARM).code == 0
