"""`spawnrun species`: the table with its sources, and the farm's own values."""

import json
from pathlib import Path

from tests.cli.conftest import Spawnrun


def test_the_table_is_shown_without_a_farm(spawnrun: Spawnrun) -> None:
    table = json.loads(spawnrun("species", "--format", "json").out)
    assert len(table) >= 10
    assert all(one["sources"]["flushes"] for one in table)
    said = spawnrun("species", "blue oyster").out
    assert "Pleurotus ostreatus" in said
    assert "Royse 2002" in said
    unknown = spawnrun("species", "moon mushroom")
    assert unknown.code == 2
    assert "not in the species table" in unknown.err


def test_a_farms_settings_replace_the_table_and_change_the_forecast(spawnrun: Spawnrun, vessels: Path) -> None:
    spawnrun("init", "home")
    spawnrun("vessel", "import", str(vessels), "--farm", "home")
    settings = Path("home/farm.toml")
    kept = settings.read_text().replace('as_of = ""', 'as_of = "2026-03-02"')

    def days() -> list[str]:
        listed = json.loads(spawnrun("ready", "--farm", "home", "--format", "json").out)
        return [one["through_median"] for one in listed if one["kind"] == "bag"]

    settings.write_text(kept)
    before = days()
    settings.write_text(
        kept + '[species.oyster]\nflushes = 9\npace = [["bag", "sawdust", 6.0, 60.0], ["bag", "grain", 6.0, 60.0]]\n'
    )
    oyster = json.loads(spawnrun("species", "oyster", "--farm", "home", "--format", "json").out)
    assert {"what": "flushes", "value": "9", "source": "this farm's settings"} in oyster
    assert min(days()) > max(before)
    settings.write_text(kept + "[species.oyster]\nflushs = 9\n")
    wrong = spawnrun("ready", "--farm", "home")
    assert wrong.code == 2
    assert "species.oyster.flushs" in wrong.err
    settings.write_text(kept + "[species.moon]\nflushes = 9\n")
    assert "say like =" in spawnrun("ready", "--farm", "home").err


def test_a_mistyped_species_of_a_new_vessel_is_told(spawnrun: Spawnrun) -> None:
    spawnrun("init", "home")
    new = ("vessel", "add", "--kind", "bag", "--inoculated", "2026-03-02", "--farm", "home", "--species")
    told = spawnrun(*new, "oyter", "B001..B003")
    assert (told.code, told.out) == (0, "added B001..B003 (3 vessels)\n")
    assert "species not known, forecast from other vessels alone: oyter; did you mean oyster?" in told.err
    assert "not known" not in spawnrun(*new, "Pleurotus ostreatus", "B004").err
