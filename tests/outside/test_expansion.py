"""Expansion arithmetic: one jar makes ten, ten make a hundred, a hundred a thousand (common practice, no source)."""

from calibration import expansion
from farm.plan import expanded
from tests.outside.conftest import Tell


def test_one_ten_a_hundred_a_thousand(tell: Tell) -> None:
    ratio = expansion().grain_ratio
    made = [expanded(1, ratio.value, generations) for generations in range(4)]
    assert made == [1, 10, 100, 1000]
    assert ratio.source == "common practice, no source"
    told = ", ".join(f"{one:g}" for one in made)
    tell("jars after 0 to 3 expansions of one", "common practice, no source", "1, 10, 100, 1000", told)
