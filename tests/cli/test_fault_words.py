"""Faults of options in the words and units in which they were given."""

import pytest

from tests.cli.conftest import Spawnrun

NEW = ("vessel", "add", "B001", "--kind", "bag", "--inoculated", "2026-03-02", "--farm", "home")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--face-height", "750"), "--face-height: '750 cm': must be 500 cm or less"),
        (("--face-width", "0"), "--face-width: '0 cm': must be more than 0 cm"),
        (("--face-height-mm", "7500"), "face_height_mm: 7500.0: must be 5000 or less"),
        (("--temperature", "680"), "--temperature: '680 C': must be 60 \N{DEGREE SIGN}C or less"),
        (("--temperature", "70K"), "--temperature: '70K': the unit is C or F"),
    ],
)
def test_a_measure_out_of_range(spawnrun: Spawnrun, options: tuple[str, ...], said: str) -> None:
    spawnrun("init", "home")
    refused = spawnrun(*NEW, *options)
    assert refused.code == 2
    assert said in " ".join(refused.err.split())


def test_a_space_after_a_comma_and_one_event(spawnrun: Spawnrun) -> None:
    spawnrun("init", "home")
    spawnrun(*NEW)
    refused = spawnrun("event", "B001", "B002,", "B003", "moved", "--farm", "home")
    assert refused.code == 2
    assert "'B002,': no id stands beside the comma; leave out the space after it" in refused.err
    assert "'B_1': an id is 1 to 16" in spawnrun("event", "B001,B_1", "moved", "--farm", "home").err
    spawnrun("event", "B001", "moved", "--farm", "home")
    assert spawnrun("vessel", "remove", "B001", "--farm", "home").err.endswith("B001: 1 event\n")
