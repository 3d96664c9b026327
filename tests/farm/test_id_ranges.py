"""Ids in full and in short."""

import pytest

from farm.records import expand_ids, ids_in_short


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
