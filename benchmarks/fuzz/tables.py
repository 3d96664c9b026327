"""Randomly changed tables and settings through the commands that read them: accepted, or refused with a reason."""

import contextlib
import io
import os
import random
import signal
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from benchmarks.fuzz.mutate import mutated

VESSELS = """\
id,kind,inoculated,species,substrate,batch,source,diameter,label_size,temperature,shelf,use,contents,smell
B001,bag,2026-03-01T08:00,oyster,sawdust,FIRST,JAR-1,,,,S1,fruiting,2.5 kg,
B002,bag,1 Mar 2026,oyster,sawdust,FIRST,JAR-1,,,70 F,S1,,5 lb,sweet
J001,jar,2026-03-02,oyster,"rye grain",SECOND,,3.6 in,small,,"S2, low",spawn,,
P001,plate,2026-03-03T10:00+01:00,reishi,agar,,,90 mm,small,,,,,
"""
HARVESTS = (
    "vessel,day,kg,flush,together\nB001,2026-04-02,0.4,1,\nB002,2 Apr 2026,0.7,,B001..B002\nJ001,2026-04-03,9 oz,2,\n"
)
LAYOUT = "vessel,left,top,width,height\nB001,10,20,300,400\nB002,330,20,300,400\n"
EYE = "vessel,percent,taken_at,photo\nB001,40,2026-03-07T10:00,\nB002,35.5,,20260308_1000.png\n"
READINGS = """\
vessel,kind,inoculated,taken_at,percent,species,substrate
B001,bag,2026-03-01,2026-03-05,20,oyster,sawdust
B001,bag,2026-03-01,2026-03-08,45,oyster,sawdust
B001,bag,2026-03-01,2026-03-11,80,oyster,sawdust
"""
SETTINGS = """\
through_percent = 99.0
days_ahead = 7
time_zone = "Europe/Vienna"
date_order = "day first"
as_of = 2026-03-14T20:00:00
suspect_score = 0.5
returns_when_times = 1.5
temperature_c = 21.5
[units]
lengths = "inches"
weights = "lb"
temperatures = "F"
[plan]
loss_percent = 4
spare_percent = 10
grain_ratio = 10
contents_kg = {jar = 0.5, bag = 2.0}
prepare_days = {grain = 2, straw = 1}
[consolidation_days]
shiitake = 60
"oyster jar" = 2
[species.oyster]
spawn_rate_percent = 8
pace = [["block", "straw", 2.5, 13]]
[species."barn strain"]
like = "oyster"
colours = ["white"]
"""
#: By file name: its content, the command that reads it, and N if one file in N is of this kind.
KINDS = {
    "vessels.csv": (VESSELS, ("vessel", "import", "{file}", "--farm", "{farm}"), 4),
    "layout.csv": (LAYOUT, ("measure", "{photo}", "--layout", "{file}", "--farm", "{farm}"), 6),
    "EYE.csv": (EYE, ("agree", "{file}", "--farm", "{farm}"), 6),
    "harvests.csv": (HARVESTS, ("harvest", "--import", "{file}", "--farm", "{fruiting}"), 6),
    "readings.csv": (READINGS, ("forecast", "{file}"), 12),
    "events.csv": ("vessel,event,at\nB001,shaken,2026-03-05T18:00\n",
                   ("measure", "{photo}", "--vessels", "{vessels}", "--events", "{file}"), 6),
    "farm.toml": (SETTINGS, ("ready", "--farm", "{file's}"), 4),
}  # fmt: skip
_HANG_SECONDS = 10
_TEXTS = (
    '"', ",", ";", "\t", "\n", "\r", "\x00", "=", "'", "[", "]", "{", "}", "nan", "inf", "1e999", "-1", "9" * 400, "é",
    "\u202e", "2026-02-30", "0001-01-01", "9999-12-31T23:59", "2026-03-29T02:30", "true", "[[", "\N{SNOWMAN}", " " * 50,
    "+99:99", "-0",
)  # fmt: skip


def changed_tables(count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """Kind and content of changed tables: changed bytes, and pieces of text that are difficult in tables."""
    chance = random.Random(f"{seed} tables")
    kinds = list(KINDS)
    odds = [1 / KINDS[kind][2] for kind in kinds]
    for kind in chance.choices(kinds, odds, k=count):
        content = KINDS[kind][0].encode()
        for _ in range(chance.choice((0, 1, 1, 2))):
            at, width = chance.randrange(len(content) + 1), chance.choice((0, 0, 1, 4, 10))
            content = content[:at] + chance.choice(_TEXTS).encode() + content[at + width :]
        yield kind, mutated(content, chance) if chance.random() < 0.35 else content


def try_table(kind: str, content: bytes, home: Path) -> tuple[str, str]:
    """Outcome (accepted, refused or fault) and output of the command that reads this kind."""
    from cli import run
    from farm.store import create_farm

    farm = home / "farm"
    if not farm.exists():
        create_farm(farm).close()
    (home / "whole.csv").write_text(VESSELS)
    (home / "no.jpg").write_text("no picture: the table is what is tried")
    file = (farm if kind == "farm.toml" else home) / kind
    file.write_bytes(content)
    words = {
        "{file}": str(file),
        "{farm}": str(farm),
        "{file's}": str(farm),
        "{fruiting}": str(_fruiting(home)),
        "{vessels}": str(home / "whole.csv"),
        "{photo}": str(home / "no.jpg"),
    }
    command = [words.get(word, word) for word in KINDS[kind][1]]
    said = io.StringIO()
    try:
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said), _no_longer_than(_HANG_SECONDS):
            code = run(command)
    except BaseException as error:
        return "fault", "".join(traceback.format_exception(error))[-700:]
    finally:
        (farm / "farm.toml").write_text("")
    if code == 1:
        return "fault", f"exit code 1: {said.getvalue()[-300:]}"
    if code == 2 and kind not in said.getvalue():
        return "fault", f"the file is not named: {said.getvalue()[-300:]}"
    return ("taken" if code in (0, 3) else "refused"), said.getvalue()


def _fruiting(home: Path) -> Path:
    """A farm whose vessels a table of harvests may name."""
    from farm.records import import_vessels
    from farm.store import create_farm

    folder = home / "fruiting"
    if not folder.exists():
        with create_farm(folder) as made:
            import_vessels(made, home / "whole.csv")
    return folder


def fuzz_tables(count: int, seed: int, home: Path) -> bool:
    """Try a number of tables and print the outcomes; whether all were accepted or refused with a reason."""
    home.mkdir(parents=True)
    counts: Counter[tuple[str, str]] = Counter()
    slowest: dict[str, float] = {}
    for kind, content in changed_tables(count, seed):
        begun = time.monotonic()
        outcome, said = try_table(kind, content, home)
        counts[kind, outcome] += 1
        slowest[kind] = max(slowest.get(kind, 0.0), time.monotonic() - begun)
        if outcome == "fault":
            print(f"{kind}: {content!r}\n{said}")
    for kind in KINDS:
        told = ", ".join(f"{counts[kind, outcome]} {outcome}" for outcome in ("taken", "refused", "fault"))
        print(f"{kind:13} {told}; slowest {slowest.get(kind, 0):.1f} s")
    return not any(outcome == "fault" for _, outcome in counts)


@contextlib.contextmanager
def _no_longer_than(seconds: int) -> Iterator[None]:
    if os.name == "nt":
        yield
        return

    def too_long(*_: object) -> None:
        raise TimeoutError(f"over {seconds} s")

    before = signal.signal(signal.SIGALRM, too_long)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
