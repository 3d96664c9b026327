"""Ids in full and in short."""

from datetime import UTC, datetime

import pytest

from farm.records import add_vessels, chosen_vessels, expand_ids, get_vessel, ids_in_short
from farm.records.id_ranges import alike
from farm.records.models import Vessel
from farm.store import Farm
from farm.store.errors import UnknownVesselError


@pytest.mark.parametrize(
    ("texts", "ids"),
    [
        (["B001..B003"], ["B001", "B002", "B003"]),
        (["b9..11", "J1"], ["B9", "B10", "B11", "J1"]),
        (["1..2", "2", "1"], ["1", "2"]),
        (["B1,B2..3", "b7, b8", "B3"], ["B1", "B2", "B3", "B7", "B8"]),
        (["A..B"], ["A..B"]),
    ],
)
def test_ids_and_sequences_of_ids(texts: list[str], ids: list[str]) -> None:
    assert expand_ids(texts) == ids


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("B5..B1", "counts up"),
        ("B1..C5", "counts up"),
        ("B1..B99999", "more than 5000"),
        ("B_1..B_3", "an id is 1 to 16"),
        ("", "an id is 1 to 16"),
        ("ABCDEFGHIJKLMNO1..12", "an id is 1 to 16"),
    ],
)
def test_an_invalid_id_is_reported(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        expand_ids([text])


@pytest.mark.parametrize("text", ["K046-K060", "k46 - k60", "K046\N{EN DASH}K060"])
def test_a_range_with_a_dash_gets_a_hint(text: str) -> None:
    """An id may have a dash, so that it is understood by nobody; a new vessel of that name is a mistake."""
    with pytest.raises(ValueError, match=r"a range is written K0?46\.\.K0?60"):
        expand_ids([text], new=True)


def test_a_dash_within_an_id_is_no_range(farm: Farm) -> None:
    assert expand_ids(["B1-7", "K060-K046", "A-B"], new=True) == ["B1-7", "K060-K046", "A-B"]
    with pytest.raises(UnknownVesselError, match=r"no vessel B001-B020 in .*; a range is written B001\.\.B020"):
        chosen_vessels(farm, ["B001-B020"])


@pytest.mark.parametrize(
    ("ids", "short"),
    [
        (["B003", "B001", "B002", "B007"], "B001..B003, B007"),
        (["B001", "B002"], "B001, B002"),
        (["B9", "B10", "B11", "B12"], "B10..B12, B9"),
        (["A", "B", "C"], "A, B, C"),
        (["B998", "B999", "B1000"], "B1000, B998, B999"),
        ([], ""),
    ],
)
def test_ids_in_short_read_back_as_the_same(ids: list[str], short: str) -> None:
    assert ids_in_short(ids) == short
    assert sorted(expand_ids([short]) if ids else []) == sorted(ids)


@pytest.mark.parametrize("text", ["K046 - K060", "K046\N{EN DASH}K060"])
def test_a_range_that_can_be_no_id_gets_the_same_hint(text: str) -> None:
    with pytest.raises(ValueError, match=r"a range is written K046\.\.K060"):
        expand_ids([text])


@pytest.mark.parametrize("texts", [["K071", "..", "K075"], ["K071..", "K075"], ["K071", "..K075"]])
def test_a_range_with_spaces_is_told_to_be_written_without(texts: list[str]) -> None:
    with pytest.raises(ValueError, match=r"a range is written without spaces, such as B001\.\.B020"):
        expand_ids(texts)


@pytest.mark.parametrize(
    ("text", "meant"),
    [("B0O3", "B003"), ("b3", "B003"), ("B0003", "B003"), ("BOO3", "B003"), ("B10", ""), ("B030", ""), ("C003", "")],
)
def test_an_id_that_differs_by_a_slip_is_recognised(text: str, meant: str) -> None:
    assert alike(text, ["A003", "B003", "B300", "B010", "B0010"]) == meant


def test_who_writes_an_id_with_a_slip_is_asked(farm: Farm) -> None:
    add_vessels(farm, [Vessel("B003", "bag", datetime(2026, 3, 1, tzinfo=UTC))])
    with pytest.raises(UnknownVesselError, match=r"no vessel B0O3 in .*; did you mean B003\?"):
        chosen_vessels(farm, ["B0O3"])
    with pytest.raises(UnknownVesselError, match=r"no vessel B3 in .*; did you mean B003\?"):
        get_vessel(farm, "B3")
