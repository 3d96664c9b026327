"""Every command: its help shows an example, its list comes in three formats, its failures are reported."""

import json
import os
import subprocess
import sys
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pytest
import typer

from cli.main import COMMANDS as LISTED
from cli.main import app
from cli.options import LawName
from farm.measure import run as measure_run
from farm.measure import series
from growth.laws import LAWS
from tests.cli.conftest import Spawnrun
from tests.farm.painted import as_they_are, paint, painted_vision

COMMANDS = {
    ("demo",),
    ("init",),
    ("labels",),
    ("calibrate",),
    ("agree",),
    ("export",),
    ("calendar",),
    ("species",),
    ("plan",),
    ("compare",),
    ("backup",),
    ("restore",),
    ("check",),
    ("event",),
    ("measure",),
    ("curve",),
    ("ready",),
    ("forecast",),
    ("report",),
    ("trace",),
    ("vessel", "add"),
    ("vessel", "import"),
    ("vessel", "list"),
    ("vessel", "show"),
    ("vessel", "close"),
    ("vessel", "move"),
    ("vessel", "note"),
    ("vessel", "remove"),
    ("vessel", "rename"),
    ("done",),
    ("harvest",),
    ("yields",),
    ("losses",),
    ("serve",),
    ("review",),
    ("review", "list"),
    ("review", "confirm"),
    ("review", "dismiss"),
    ("review", "watch"),
    ("review", "undo"),
}


def commands_of(group: Any, above: tuple[str, ...] = ()) -> set[tuple[str, ...]]:
    found = set()
    for name, command in group.commands.items():
        inner = getattr(command, "commands", None)
        if not inner or command.invoke_without_command:
            found.add((*above, name))
        if inner:
            found |= commands_of(command, (*above, name))
    return found


def test_these_are_all_the_commands() -> None:
    assert commands_of(typer.main.get_command(app)) == COMMANDS


@pytest.mark.parametrize("name", sorted(LISTED))
def test_the_list_of_commands_shows_the_first_line_of_each_help(name: str) -> None:
    assert LISTED[name].says == LISTED[name].load(name).get_short_help_str(1000)


@pytest.mark.parametrize("command", sorted(COMMANDS), ids=" ".join)
def test_help_shows_an_example_of_the_command(spawnrun: Spawnrun, command: tuple[str, ...]) -> None:
    outcome = spawnrun(*command, "--help")
    assert outcome.code == 0
    assert "Example" in outcome.out
    assert f"spawnrun {' '.join(command)}" in " ".join(outcome.out.split())


@pytest.mark.parametrize("command", sorted(COMMANDS), ids=" ".join)
def test_the_readme_names_the_command(command: tuple[str, ...]) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    row = next(line for line in readme.splitlines() if line.startswith(f"| `spawnrun {command[0]}"))
    assert command[-1] in row


def test_help_shows_the_exit_codes(spawnrun: Spawnrun) -> None:
    said = " ".join(spawnrun("--help").out.split())
    assert "0 done; 1 this program failed, or the machine (a full disk," in said
    assert "2 bad input or usage; 3 done, but a photo gave no reading" in said


def test_version(spawnrun: Spawnrun) -> None:
    outcome = spawnrun("--version")
    assert (outcome.code, outcome.out) == (0, f"spawnrun {version('spawnrun')}\n")


def test_a_path_that_cannot_be_written_is_reported(spawnrun: Spawnrun, week: Path) -> None:
    outcome = spawnrun("report", "--out", "vessels.csv/today.html", "--farm", "home")
    assert outcome.code == 1
    assert "vessels.csv" in outcome.err
    assert "Traceback" not in outcome.err


def test_ctrl_c_prints_no_traceback_and_has_its_exit_code(
    spawnrun: Spawnrun, week: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("cli.measure.measure_paths", stop)
    outcome = spawnrun("measure", "photos", "--farm", "home")
    assert outcome.code == 130
    assert "what was done so far is kept" in outcome.err
    assert "Traceback" not in outcome.err


def test_an_unknown_command_is_bad_usage(spawnrun: Spawnrun) -> None:
    outcome = spawnrun("harvest")
    assert outcome.code == 2
    assert "harvest" in outcome.err


def test_init_refuses_to_make_a_farm_twice(spawnrun: Spawnrun) -> None:
    assert spawnrun("init", "home").code == 0
    assert Path("home/farm.toml").read_text().startswith("# Settings of this farm")
    again = spawnrun("init", "home")
    assert again.code == 2
    assert "is a farm already" in again.err


def test_a_farm_within_a_farm_is_reported(spawnrun: Spawnrun) -> None:
    assert spawnrun("init", "home").err == ""
    assert "it lies inside the farm" in spawnrun("init", "home/cellar").err


def test_vessels_are_added_listed_shown_and_closed(spawnrun: Spawnrun, week: Path) -> None:
    farm = ("--farm", "home")
    added = spawnrun(
        "vessel", "add", "p001", "--kind", "plate", "--inoculated", "2026-03-03", "--species", "reishi", *farm
    )
    assert (added.code, added.out) == (0, "added P001\n")
    listed = json.loads(spawnrun("vessel", "list", "--format", "json", *farm).out)
    assert [vessel["vessel"] for vessel in listed] == ["B001", "B002", "J001", "P001"]
    assert listed[3]["inoculated_at"] == "2026-03-03T00:00"
    assert spawnrun("vessel", "note", "P001", "from a friend", *farm).code == 0
    shown = spawnrun("vessel", "show", "P001", *farm).out
    assert "reishi" in shown
    assert "from a friend" in shown
    assert "no readings yet" in shown
    assert spawnrun("vessel", "close", "P001", "--why", "used", *farm).out == "P001 is closed\n"
    assert "P001" not in spawnrun("vessel", "list", *farm).out
    assert "P001" in spawnrun("vessel", "list", "--all", *farm).out
    assert spawnrun("vessel", "close", "P001", "--reopen", *farm).out == "P001 is running\n"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("vessel", "add", "B 9", "--kind", "bag", "--inoculated", "2026-03-01"), "an id is 1 to 16 of"),
        (("vessel", "add", "B9", "--kind", "bag", "--inoculated", "soon"), "not a date or time, such as"),
        (("vessel", "add", "B001", "--kind", "bag", "--inoculated", "2026-03-01"), "B001 is in the farm already"),
        (("vessel", "note", "B001", " "), "a note needs words"),
        (("event", "B001", "shaken", "--at", "2020-03-01"), "B001 was inoculated later"),
        (("vessel", "show", "X1"), "no vessel X1"),
        (("event", "X1", "shaken"), "no vessel X1"),
        (("event", "B001", "eaten"), "eaten"),
        (("event", "B001", "shaken", "--at", "noon"), "not a date or time, such as"),
        (("curve", "X1"), "no vessel X1"),
        (("curve", "B001", "--plot", "curve.gif"), "a plot is a .png or an .svg file"),
        (("review", "confirm", "B001"), "nothing is up for review on B001"),
        (("ready", "--days", "-1"), "--days"),
    ],
)
def test_bad_input_exits_with_2(spawnrun: Spawnrun, week: Path, arguments: tuple[str, ...], said: str) -> None:
    outcome = spawnrun(*arguments, "--farm", "home")
    assert outcome.code == 2
    assert said in outcome.err


def test_an_event_is_kept(spawnrun: Spawnrun, week: Path) -> None:
    outcome = spawnrun("event", "j001", "shaken", "--at", "2026-03-08T18:00", "--farm", "home")
    assert outcome.out == "J001: shaken at 2026-03-08T18:00\n"
    assert "shaken          2026-03-08T18:00" in spawnrun("vessel", "show", "J001", "--farm", "home").out


def test_an_event_is_undone_and_a_future_event_is_refused(spawnrun: Spawnrun, week: Path) -> None:
    shake = ("event", "J001", "shaken", "--farm", "home")
    assert spawnrun(*shake, "--at", "2099-01-01").err.count("has not come yet") == 1
    early = spawnrun("event", "B001", "B002", "shaken", "--at", "2020-03-01", "--farm", "home")
    assert "2020-03-01T00:00: B001, B002 was inoculated later" in early.err
    assert spawnrun(*shake, "--at", "2026-03-08T18:00").code == 0
    assert "say which with --at" in spawnrun(*shake, "--remove").err
    gone = spawnrun(*shake, "--at", "2026-03-08T18:00", "--remove")
    assert (gone.code, gone.out) == (0, "J001: shaken at 2026-03-08T18:00 taken back\n")
    assert "shaken " not in spawnrun("vessel", "show", "J001", "--farm", "home").out
    again = spawnrun(*shake, "--at", "2026-03-08T18:00", "--remove")
    assert again.code == 2
    assert "has no 'shaken' at" in again.err


def test_a_law_can_be_chosen_and_is_shown_with_a_plain_name(spawnrun: Spawnrun, week: Path) -> None:
    assert [one.value for one in LawName] == list(LAWS)
    out = spawnrun("curve", "B001", "--law", "linear", "--farm", "home").out
    assert "it grows like: one front at a steady pace (linear) 100%" in out
    assert "by itself: lag" in out
    assert "it grows like" not in spawnrun("curve", "B001", "--farm", "home").out
    assert "it grows like: " in spawnrun("curve", "B001", "--why", "--farm", "home").out
    assert spawnrun("curve", "B001", "--law", "cubic", "--farm", "home").code == 2


def test_a_curve_distinguishes_readings_from_forecast(spawnrun: Spawnrun, week: Path) -> None:
    assert "\nB001: ready\n" in spawnrun("curve", "B001", "--farm", "home").out
    foretold = spawnrun("curve", "B002", "--as-of", "2026-08-01", "--farm", "home").out
    assert "\nB002: due by now, no photo since: take one\n" in foretold


def test_the_farm_is_found_from_the_working_folder(
    spawnrun: Spawnrun, week: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (week / "deep" / "down").mkdir(parents=True)
    monkeypatch.chdir(week / "deep" / "down")
    assert "B001" in spawnrun("vessel", "list").out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("ready", "--days", "abc"), "'--days': 'abc': not a whole number"),
        (("ready", "--days", "-1"), "'--days': '-1': must be 0 or more"),
        (("event", "J001", "shook"), "'shook' is not one of 'shaken', 'moved', 'opened'"),
        (("vessel", "add", "X1", "--kind", "sack", "--inoculated", "2026-03-01"), "'--kind': 'sack' is not one of"),
        (("measure", "x", "--workers", "0"), "'--workers': '0': must be 1 or more"),
    ],
)
def test_an_invalid_value_is_refused_with_a_message(spawnrun: Spawnrun, words: tuple[str, ...], said: str) -> None:
    refused = spawnrun(*words)
    assert refused.code == 2
    assert said in refused.err
    assert not [foreign for foreign in ("Value error", "Input should", "parse") if foreign in refused.err]


def test_a_missing_folder_is_reported_as_missing_not_as_an_empty_farm(spawnrun: Spawnrun) -> None:
    refused = spawnrun("ready", "--farm", "nowhere")
    assert (refused.code, refused.err) == (2, "spawnrun: there is no folder nowhere; `spawnrun init` makes a farm\n")


@pytest.mark.slow
@pytest.mark.parametrize("style", ["table", "csv"])
def test_a_closed_pipe_is_not_an_error(spawnrun: Spawnrun, week: Path, style: str) -> None:
    read, write = os.pipe()
    os.close(read)
    command = [sys.executable, "-c", "from cli.main import main; main()", "vessel", "show", "B001", "--format", style]
    done = subprocess.run([*command, "--farm", "home"], stdout=write, stderr=subprocess.PIPE, check=False)
    os.close(write)
    assert (done.returncode, done.stderr) == (0, b"")


def test_a_curve_explains_a_drop_of_percent_and_what_to_do(
    spawnrun: Spawnrun, painted: None, vessels: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The command that it suggests works unchanged, and answers the question."""
    plain = replace(painted_vision(), continue_series=as_they_are)
    for place in (measure_run, series):
        monkeypatch.setattr(place, "load_vision", lambda: plain)
    assert spawnrun("init", "home").code == 0
    assert spawnrun("vessel", "import", str(vessels), "--farm", "home").code == 0
    for day, percent in ((3, 1), (5, 8), (6, 18), (7, 30), (8, 2), (9, 4), (10, 15)):
        paint(tmp_path / "jar" / f"202603{day:02}_1000.png", ("J001", percent))
    assert spawnrun("measure", "jar", "--farm", "home").code == 0
    now = ("--as-of", "2026-03-10T12:00", "--farm", "home")
    out = spawnrun("curve", "J001", *now).out
    assert "J001: percent fell from 30 to 2 between Sat 7 Mar 2026 and Sun 8 Mar 2026: if it was shaken" in out
    assert "J001: dropped" not in out
    command = out.split("`spawnrun ")[1].split("`")[0]
    assert spawnrun(*command.split(), "--farm", "home").code == 0
    assert "percent fell" not in spawnrun("curve", "J001", *now).out


def test_a_curve_has_readings_and_a_daily_line_and_a_plot(spawnrun: Spawnrun, week: Path) -> None:
    outcome = spawnrun("curve", "B001", "--format", "json", "--plot", "b001.svg", "--farm", "home")
    assert outcome.code == 0
    records = json.loads(outcome.out)
    assert [record["percent"] for record in records if record["what"] == "reading"] == [2, 30, 62, 88, 99, 100]
    curve = [record for record in records if record["what"] == "curve"]
    assert len(curve) > 10
    assert all(one["percent_low"] <= one["percent"] <= one["percent_high"] for one in curve)
    assert Path("b001.svg").read_text().startswith("<?xml")
    assert spawnrun("curve", "B001", "--plot", "b001.png", "--farm", "home").code == 0
    assert Path("b001.png").read_bytes().startswith(b"\x89PNG")


def test_the_learned_pace_of_each_species_is_shown(spawnrun: Spawnrun, week: Path) -> None:
    outcome = spawnrun("curve", "--pace", "--format", "json", "--farm", "home")
    assert outcome.code == 0
    paces = json.loads(outcome.out)
    assert {"bag", "jar"} <= {pace["kind"] for pace in paces}
    assert all(pace["low_days"] < pace["median_days"] < pace["high_days"] for pace in paces)
    assert all(pace["table_source"] for pace in paces)
    table = spawnrun("curve", "--pace", "--farm", "home").out
    assert "days in the table" in table
    assert "one standard deviation" in table


@pytest.mark.parametrize("words", [(), ("B001", "--pace")])
def test_curve_shows_one_vessel_or_the_learned_paces(spawnrun: Spawnrun, week: Path, words: tuple[str, ...]) -> None:
    outcome = spawnrun("curve", *words, "--farm", "home")
    assert outcome.code == 2
    assert "--pace" in outcome.err


def test_ready_puts_a_suspect_first_and_not_among_the_ready(spawnrun: Spawnrun, week: Path) -> None:
    records = json.loads(spawnrun("ready", "--format", "json", "--farm", "home").out)
    sections = {record["vessel"]: record["section"] for record in records}
    assert sections["B001"] == "ready"
    assert sections["B002"] == "look"
    assert records[0]["vessel"] == "B002"
    assert records[0]["marks"][0] == "green patch: confirm or dismiss it"
    assert "score" not in spawnrun("review", "list", "--farm", "home").out
    assert "score" in spawnrun("review", "list", "--why", "--farm", "home").out.splitlines()[0]
    table = spawnrun("ready", "--farm", "home").out
    assert table.index("Look at these first") < table.index("Ready to expand to more grain, or to spawn to bulk")
    assert "Leave the vessel closed" in table
    assert "Nothing here says that a mushroom is fit to eat." in spawnrun("review", "list", "--farm", "home").out


def test_ready_gives_vessels_of_a_task_one_line_or_each_its_own(spawnrun: Spawnrun, week: Path) -> None:
    Path("more.csv").write_text(
        "vessel,kind,species,substrate,inoculated,batch,shelf\n"
        + "".join(f"T{n},bag,oyster,straw,2026-02-01,TAIL,A{1 + n // 5}\n" for n in range(1, 7))
    )
    assert spawnrun("vessel", "import", "more.csv", "--farm", "home").code == 0
    short = spawnrun("ready", "--farm", "home").out
    assert "as of 2026-03-14 20:00: 9 running; since the day before: 3 photographed" in short.splitlines()[0]
    row = next(line for line in short.splitlines() if "T1..T4" in line)
    assert "A1" in row
    assert "4 bags" in row
    assert "oyster on straw" in row
    assert "T2" not in short
    assert "every vessel by itself: spawnrun ready --each --farm home" in short
    each = spawnrun("ready", "--each", "--farm", "home").out
    assert all(f"\nT{n} " in each for n in range(1, 7))
    assert "take a photo: due by now, and none was taken" in each


def test_today_s_list_is_printed_by_shelf(spawnrun: Spawnrun, week: Path) -> None:
    Path("out").mkdir()
    done = spawnrun("ready", "--print", "out/today.pdf", "--farm", "home")
    assert (done.code, done.out, done.err) == (0, "", "to print: out/today.pdf (1 page)\n")
    assert Path("out/today.pdf").read_bytes().startswith(b"%PDF")


def test_ready_separates_fruiting_from_spawn_and_can_filter_by_use(spawnrun: Spawnrun, week: Path) -> None:
    """B001 is a bag of grain; with use fruiting in its record, it consolidates first and is then ready to fruit."""
    spawn = spawnrun("ready", "--use", "spawn", "--farm", "home").out
    assert "\nReady to expand to more grain, or to spawn to bulk (1)\n" in spawn
    assert "B002" not in spawn, "a bag of sawdust"
    as_spawn = json.loads(spawnrun("ready", "--use", "spawn", "--format", "json", "--farm", "home").out)
    assert {one["vessel"]: one["used_for"] for one in as_spawn} == {"B001": "spawn", "J001": "spawn"}
    assert "\nReady now\n  none\n" in spawnrun("ready", "--use", "fruiting", "--farm", "home").out
    Path("use.csv").write_text(
        "vessel,kind,species,substrate,inoculated,batch,use\n"
        "B001,bag,oyster,rye grain,2026-03-01T08:00,FIRST,Fruiting\n"
    )
    assert "1 changed" in spawnrun("vessel", "import", "use.csv", "--update", "--farm", "home").out
    resting = json.loads(spawnrun("ready", "--use", "fruiting", "--format", "json", "--farm", "home").out)
    assert [one["marks"] for one in resting if one["vessel"] == "B001"] == [["colonised through: let it rest"]]
    paint(Path("later", "20260318_1000.png"), ("B001", 100))
    spawnrun("measure", "later", "--farm", "home")
    later = spawnrun("ready", "--use", "fruiting", "--as-of", "2026-03-18T20:00", "--farm", "home").out
    assert "\nReady to fruit (1)\n" in later
    assert later.index("Ready to fruit (1)") < later.index("\nB001 ")


def test_the_use_of_a_vessel_is_shown_and_marked_if_assumed(spawnrun: Spawnrun) -> None:
    spawnrun("init", "home")
    add = ("vessel", "add", "--kind", "bag", "--inoculated", "2026-03-02", "--farm", "home")
    assumed, back = spawnrun(*add, "B1..B3").err.splitlines()
    assert assumed.endswith("counted as is usual: 3 bags for spawn; `use` (culture, spawn, fruiting) says otherwise")
    assert back == "to take it back: spawnrun vessel remove B1..B3 --farm home"
    assert len(spawnrun(*add, "B4", "--substrate", "straw").err.splitlines()) == 1
    assert len(spawnrun(*add, "B5", "--use", "fruiting").err.splitlines()) == 1
    assert spawnrun(*add, "B6", "--use", "supper").code == 2
    shown = {
        name: next(
            line.split(maxsplit=1)[1]
            for line in spawnrun("vessel", "show", name, "--farm", "home").out.splitlines()
            if line.startswith("used_for")
        )
        for name in ("B1", "B4", "B5")
    }
    assert shown == {
        "B1": "taken for spawn, as is usual for a bag: no substrate is given",
        "B4": "fruiting, as its substrate tells",
        "B5": "fruiting, as its record says",
    }
    listed = json.loads(spawnrun("vessel", "list", "--format", "json", "--farm", "home").out)
    assert [(one["use"], one["used_for"]) for one in listed][-2:] == [(None, "fruiting"), ("fruiting", "fruiting")]
    Path("more.csv").write_text(
        "vessel,kind,inoculated,substrate,use\nB7,bag,2026-03-02,mix no. 7,\nB8,bag,2026-03-02,,eat\n"
    )
    refused = spawnrun("vessel", "import", "more.csv", "--farm", "home")
    assert "line 3, column use: 'eat': must be 'culture', 'spawn' or 'fruiting'" in refused.err
    Path("more.csv").write_text(
        "vessel,kind,inoculated,substrate,use\nB7,bag,2026-03-02,mix no. 7,\nB8,bag,2026-03-02,, SPAWN\n"
    )
    assert "1 bag for spawn" in spawnrun("vessel", "import", "more.csv", "--farm", "home").err


def test_ready_can_be_asked_as_of_another_time(spawnrun: Spawnrun, week: Path) -> None:
    outcome = spawnrun("ready", "--as-of", "2026-03-07", "--format", "json", "--farm", "home")
    records = {record["vessel"]: record for record in json.loads(outcome.out)}
    assert records["B001"]["percent"] == 30
    assert records["B001"]["section"] != "ready"
    assert records["B002"]["marks"] == []


def test_as_of_a_day_is_its_end_and_as_of_a_moment_that_moment(spawnrun: Spawnrun, week: Path) -> None:
    """The photos of 8 March were taken at ten."""

    def last_photo(as_of: str) -> str:
        records = json.loads(spawnrun("ready", "--as-of", as_of, "--format", "json", "--farm", "home").out)
        return str({record["vessel"]: record["last_photo_at"] for record in records}["B002"])[:10]

    assert last_photo("2026-03-08") == "2026-03-08"
    assert last_photo("8 Mar 2026") == "2026-03-08"
    assert last_photo("2026-03-08T09:00") < "2026-03-08"
    assert last_photo("2026-03-08T00:00") < "2026-03-08"


def test_review_lists_a_suspect_with_a_crop_and_accepts_a_verdict(spawnrun: Spawnrun, week: Path) -> None:
    (item,) = json.loads(spawnrun("review", "list", "--format", "json", "--farm", "home").out)
    assert (item["vessel"], item["subject"], item["urgency"]) == ("B002", "green", "high")
    assert item["first_seen_at"] == "2026-03-08T10:00"
    assert "14.0 cm2, growing" in item["why"]
    assert Path(item["crop"]).read_bytes().startswith(b"\xff\xd8")
    assert spawnrun("review", "watch", "B002", "--farm", "home").out == "B002: green watched\n"
    assert json.loads(spawnrun("review", "list", "--format", "json", "--farm", "home").out)[0]["watched"] is True
    confirmed = spawnrun("review", "confirm", "B002", "--note", "powdery", "--farm", "home")
    assert confirmed.code == 0
    assert "Leave the vessel closed" in confirmed.out
    assert "B002: off the lists as contaminated: throw out, closed" in confirmed.out
    assert "  nothing that runs was made from it" in confirmed.out
    assert "shares its source, batch, day or shelf: spawnrun trace B002 --farm home" in confirmed.out
    assert "to take it back: spawnrun review undo B002 --farm home" in confirmed.err
    assert spawnrun("review", "list", "--farm", "home").out == "  nothing to review\n"
    assert "B002" not in spawnrun("ready", "--farm", "home").out.replace("contaminated: B002", "")
    assert "contamination confirmed: powdery" in spawnrun("vessel", "show", "B002", "--farm", "home").out


def test_a_damaged_face_costs_its_picture_in_the_review_and_is_told(spawnrun: Spawnrun, week: Path) -> None:
    for face in (week / "faces").rglob("*.face"):
        face.write_bytes(face.read_bytes()[:100] + b"damaged" + face.read_bytes()[107:])
    listed = spawnrun("review", "list", "--format", "json", "--farm", "home")
    assert listed.code == 0
    assert json.loads(listed.out)[0]["crop"] is None
    assert "B002: the kept face" in listed.err
    assert "`spawnrun check`" in listed.err
    assert spawnrun("report", "--farm", "home").code == 0
    assert spawnrun("check", "--farm", "home").code == 3


def test_review_without_options_lists_suspects(spawnrun: Spawnrun, week: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(week)
    assert "green patch of 14.0 cm2" in spawnrun("review").out


def test_a_dismissed_suspect_comes_back_only_if_it_grows(spawnrun: Spawnrun, week: Path, tmp_path: Path) -> None:
    from tests.farm.painted import paint

    assert spawnrun("review", "dismiss", "B002", "--of", "green", "--farm", "home").code == 0
    assert spawnrun("review", "list", "--farm", "home").out == "  nothing to review\n"
    paint(tmp_path / "new" / "20260314_1500.png", ("B002", 52, 15))
    spawnrun("measure", "new", "--farm", "home")
    assert spawnrun("review", "list", "--farm", "home").out == "  nothing to review\n"
    paint(tmp_path / "new" / "20260314_1800.png", ("B002", 52, 30))
    spawnrun("measure", "new", "--farm", "home")
    assert "green patch of 30.0 cm2" in spawnrun("review", "list", "--farm", "home").out


def test_a_verdict_is_undone(spawnrun: Spawnrun, week: Path) -> None:
    farm = ("--farm", "home")
    assert spawnrun("review", "confirm", "B002", "--quarantine", "--by", "Ann", *farm).code == 0
    assert "quarantined" in spawnrun("vessel", "list", "--all", *farm).out
    assert "Out as contaminated: B002" in spawnrun("ready", *farm).out
    assert spawnrun("review", "undo", "B002", "--by", "Bo", *farm).out == "B002: green no longer confirmed\n"
    assert "green patch of 14.0 cm2" in spawnrun("review", "list", *farm).out
    outcome = spawnrun("review", "undo", "B002", *farm)
    assert (outcome.code, outcome.err) == (2, "spawnrun: no verdict on B002 to take back\n")


def test_all_shows_verdicts_and_reviewers(spawnrun: Spawnrun, week: Path) -> None:
    farm = ("--farm", "home")
    spawnrun("review", "dismiss", "B002", "--of", "green", "--by", "Ann", "--note", "tape", *farm)
    (item,) = json.loads(spawnrun("review", "list", "--all", "--format", "json", *farm).out)
    assert (item["standing"], item["verdict"], item["verdict_by"], item["verdict_note"]) == (
        "dismissed", "dismissed", "Ann", "tape",
    )  # fmt: skip
    assert (item["first_area_cm2"], item["area_cm2"], item["photos_seen_in"]) == (1, 14, 4)
    one = spawnrun("review", "watch", "B002", "--of", item["suspect"], *farm)
    assert one.out == "B002: green watched\n"


def test_review_help_shows_measured_figures(spawnrun: Spawnrun) -> None:
    from calibration import suspect_scores

    said = spawnrun("review", "--help").out
    for measured in suspect_scores().sets:
        assert measured.source in " ".join(said.split())
        for row in measured.thresholds:
            assert f"{row.missed:5} of {row.due:3}" in said
    assert "suspect_score" in said


def test_trace_shows_related_vessels_and_rates(spawnrun: Spawnrun, week: Path) -> None:
    farm = ("--farm", "home")
    kin = json.loads(spawnrun("trace", "b001", "--format", "json", *farm).out)
    assert [(one["relation"], one["vessel"], one["shares"]) for one in kin] == [("sibling", "B002", ["batch", "day"])]
    assert "no source is noted" in spawnrun("trace", "B001", *farm).out
    spawnrun("vessel", "add", "B9", "--kind", "bag", "--inoculated", "2026-03-09", "--source", "J001", *farm)
    spawnrun("vessel", "close", "B9", *farm)
    assert "0 of 1  0% to 79%  cannot be told apart" in spawnrun("trace", "J001", *farm).out
    *shared, rate = json.loads(spawnrun("trace", "J001", "--rates", "--format", "json", *farm).out)
    assert [one["what"] for one in shared] == ["batch", "day"]
    assert (rate["name"], rate["contaminated"], rate["vessels"], rate["high"]) == ("J001", 0, 1, 0.7935)


def test_the_report_is_one_file_without_network_access(spawnrun: Spawnrun, week: Path) -> None:
    outcome = spawnrun("report", "--out", "today.html", "--farm", "home")
    assert (outcome.code, outcome.out) == (0, "report: today.html\n")
    page = Path("today.html").read_text("utf-8")
    assert "B002" in page
    assert "http://" not in page.replace("http://www.w3.org/", "")
    assert "https://" not in page


def test_commands_on_an_empty_farm_say_that_it_is_empty(spawnrun: Spawnrun) -> None:
    spawnrun("init", "home")
    assert "no vessels yet" in spawnrun("vessel", "list", "--farm", "home").out
    assert "none" in spawnrun("ready", "--farm", "home").out
    assert json.loads(spawnrun("ready", "--format", "json", "--farm", "home").out) == []
    assert spawnrun("review", "list", "--format", "csv", "--farm", "home").out == ""
    assert spawnrun("report", "--farm", "home").code == 0
