"""The interval score of the forecast benchmark against worked numbers.

Cases: Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102(477): 359-378; recomputed with an
independent scoring library.
"""

import pytest

from benchmarks.forecast.interval_score import interval_score
from tests.outside.conftest import Tell


@pytest.mark.parametrize(("truth", "score"), [(12, 4.0), (14, 4.0), (16, 44.0), (9, 24.0)])
def test_interval_score_of_worked_cases(truth, score, tell: Tell):
    got = interval_score(10, 14, truth, level=0.9)
    assert got == pytest.approx(score)
    what = f"interval score of 10 to 14 at 90 %, truth {truth}"
    tell(what, "Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102(477)", f"{score:g}", f"{got:g}")


@pytest.mark.parametrize("truth", [3.0, 10.0, 12.5, 17.0])
def test_interval_score_is_the_sum_of_its_two_pinball_losses(truth):
    # IS = 2/alpha (PL(low, alpha/2) + PL(high, 1 - alpha/2)), Bracher et al. 2021, PLOS Comput. Biol.
    def pinball_loss(quantile, level):
        return max(level * (truth - quantile), (level - 1) * (truth - quantile))

    parts = pinball_loss(10, 0.1) + pinball_loss(14, 0.9)
    assert interval_score(10, 14, truth, level=0.8) == pytest.approx(2 / 0.2 * parts)
