"""`spawnrun calendar`: its days equal those of the list."""

import json
from pathlib import Path

import vobject

from tests.cli.conftest import Spawnrun


def test_the_days_equal_those_of_the_list(spawnrun: Spawnrun, week: Path) -> None:
    outcome = spawnrun("calendar", "--farm", "home")
    assert outcome.code == 0
    calendar = vobject.readOne(Path("home/calendar.ics").read_text("utf-8"))
    events = {event.summary.value.split(":")[0]: event for event in calendar.vevent_list}
    listed = json.loads(spawnrun("ready", "--format", "json", "--farm", "home").out)
    assert {one["vessel"] for one in listed} == set(events)
    days = [one for one in listed if one["ready_median"] is not None]
    assert f"{len(days)} vessel" in outcome.out
    for one in days:
        if one["section"] in ("soon", "later"):
            assert events[one["vessel"]].dtstart.value.isoformat() == max(one["ready_median"][:10], "2026-03-14")
    Path("my").mkdir()
    assert Path(spawnrun("calendar", "--out", "my/own.ics", "--farm", "home").out.split()[1].rstrip(",")).is_file()
