"""The use of a vessel: from its record, the words of its substrate, or its kind."""

import pytest

from calibration import KINDS, USES, substrate_class, substrates, use_is_assumed, use_of, use_of_substrate, vessel_uses
from calibration.kinds import Use


# Names that growers give to substrates, by use (common practice, no source).
@pytest.mark.parametrize(
    ("use", "names"),
    [
        ("culture", ["MEA agar", "dark agar", "coffee agar", "liquid culture", "LC", "honey water", "malt broth"]),
        ("spawn", ["rye grain", "Whole Oats", "wild bird seed", "brown rice", "popcorn", "millet", "grain spawn"]),
        ("spawn", ["sawdust spawn", "plug spawn", "wooden dowels"]),
        ("fruiting", ["sawdust", "oak sawdust + wheat bran", "wheat straw", "rice husks", "coco coir", "CVG"]),
        ("fruiting", ["horse manure", "compost", "wood chips", "Masters Mix", "brown rice flour", "coffee grounds"]),
        ("fruiting", ["straw with grain spawn", "sawdust, 10 % spawn", "corn cobs", "hardwood pellets and soy hulls"]),
        (None, ["", "my secret recipe", "mix no. 7"]),
    ],
)
def test_the_use_follows_from_the_words_of_the_substrate(use: str | None, names: list[str]) -> None:
    assert [use_of_substrate(name) for name in names] == [use] * len(names)


def test_the_record_takes_precedence_over_the_substrate_and_the_kind() -> None:
    assert use_of("bag", "sawdust") == "fruiting"
    assert use_of("bag", "sawdust", "spawn") == "spawn"
    assert [use_of(kind, "mix no. 7") for kind in ("plate", "jar", "bag", "block", "tub")] == [
        "culture", "spawn", "spawn", "fruiting", "fruiting",
    ]  # fmt: skip
    assert use_of("jar", "brown rice flour") == "fruiting"


@pytest.mark.parametrize(
    ("kind", "substrate", "use", "assumed"),
    [
        ("bag", "", None, True),
        ("bag", "mix no. 7", None, True),
        ("bag", "straw", None, False),
        ("bag", "mix no. 7", "fruiting", False),
        ("block", "mix no. 7", None, False),
        ("plate", "", None, False),
    ],
)
def test_the_use_is_called_assumed_only_for_kinds_with_several_uses(
    kind: str, substrate: str, use: Use | None, assumed: bool
) -> None:
    assert use_is_assumed(kind, substrate, use) is assumed


def test_every_row_has_a_known_use_and_a_source() -> None:
    assert tuple(vessel_uses()) == USES
    assert {one.use for one in substrates()} == set(USES)
    assert all(one.source and one.words for one in substrates())
    assert {use_of(kind, "") for kind in KINDS} == set(USES)
    words = [word for one in substrates() for word in one.words]
    assert len(words) == len(set(words))
    assert [use for use, one in vessel_uses().items() if one.consolidates] == ["fruiting"]


def test_spawn_of_sawdust_has_the_substrate_class_of_sawdust() -> None:
    assert substrate_class("oak sawdust spawn") == "sawdust"
