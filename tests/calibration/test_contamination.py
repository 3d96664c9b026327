"""Words for colours: every word has a meaning, an alternative cause and a source; own colours of species."""

from itertools import pairwise

import pytest

from calibration import colour_meanings, own_colours, suspect_scores
from vision.surface.suspects import COLOUR_WORDS


def test_every_word_that_vision_uses_has_a_meaning_an_alternative_and_sources() -> None:
    meanings = colour_meanings()
    assert set(meanings) == set(COLOUR_WORDS)
    assert all(one.commonly and one.not_sure and one.sources for one in meanings.values())


def test_the_meaning_of_green_agrees_with_handbooks() -> None:
    """Pacific Northwest Plant Disease Handbook, Mushrooms - Green Mold; Stamets & Chilton 1983, pp. 259 and 300."""
    green = colour_meanings()["green"]
    assert "Trichoderma" in green.commonly
    assert "Aspergillus" in green.commonly
    assert any("Pacific Northwest" in source for source in green.sources)


@pytest.mark.parametrize(
    ("species", "aged", "colours"),
    [
        ("shiitake", True, {"pink-orange", "yellow"}),
        ("shiitake", False, set()),
        ("Pleurotus djamor", True, {"pink-orange"}),
        ("king oyster", True, set()),
        ("nothing known", True, set()),
        ("", True, set()),
    ],
)
def test_own_colours_come_from_the_species_table(species: str, aged: bool, colours: set[str]) -> None:
    assert own_colours(species, aged=aged) == colours


def test_green_and_black_are_own_colours_of_no_species() -> None:
    from calibration import species_table

    assert all(not own_colours(key, aged=True) & {"green", "black"} for key in species_table())


def test_a_higher_threshold_never_misses_less_and_never_flags_more() -> None:
    assert suspect_scores().sets
    for rows in (one.thresholds for one in suspect_scores().sets):
        assert rows
        assert all(lower.threshold < higher.threshold for lower, higher in pairwise(rows))
        assert all(lower.missed <= higher.missed for lower, higher in pairwise(rows))
        assert all(lower.false_flags >= higher.false_flags for lower, higher in pairwise(rows))


def test_bands_cover_all_scores_and_their_counts_add_up() -> None:
    bands = suspect_scores().bands
    assert bands[0].low == 0.0
    assert bands[-1].high == pytest.approx(1.0, abs=0.01)
    assert all(one.high == other.low for one, other in pairwise(bands))
    assert all(0 <= one.contaminated <= one.flags for one in bands)
