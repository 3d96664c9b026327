"""Many vessels at once, and their lineage on the screen."""

import json

from tests.cli.conftest import Spawnrun


def test_one_plate_ten_jars_ten_bags(spawnrun: Spawnrun) -> None:
    spawnrun("init", "home")
    at = ("--inoculated", "2026-03-01", "--farm", "home")
    assert spawnrun("vessel", "add", "P001", "--kind", "plate", "--source", "CULTURE-7", *at).out == "added P001\n"
    told = spawnrun("vessel", "add", "J001..J010", "--kind", "jar", "--source", "P001", *at)
    assert told.out == "added J001..J010 (10 vessels)\n"
    assert spawnrun("vessel", "add", "B001..B010", "--kind", "bag", "--source", "J001", *at).code == 0
    listed = json.loads(spawnrun("vessel", "list", "--farm", "home", "--format", "json").out)
    assert len(listed) == 21
    assert {one["source"] for one in listed if one["kind"] == "bag"} == {"J001"}
    tree = spawnrun("trace", "B004", "--farm", "home").out
    assert tree.index("CULTURE-7") < tree.index("P001") < tree.index("J001") < tree.index("B004 <")
    assert "and 9 more from J001" in tree


def test_ids_that_make_no_sequence_are_refused(spawnrun: Spawnrun) -> None:
    spawnrun("init", "home")
    at = ("--kind", "jar", "--inoculated", "2026-03-01", "--farm", "home")
    assert "counts up with the same letters" in spawnrun("vessel", "add", "J1..K3", *at).err
    assert spawnrun("vessel", "add", "not an id!", *at).code == 2
    assert spawnrun("vessel", "add", "J1..J3", *at).code == 0
    taken = spawnrun("vessel", "add", "J3..J5", *at)
    assert taken.code == 2
    assert "J3 is in the farm already" in taken.err
    assert "J4" not in spawnrun("vessel", "list", "--farm", "home").out
