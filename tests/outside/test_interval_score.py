"""Proper scores against worked numbers.

Interval and pinball cases: Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102(477): 359-378; recomputed with an
independent scoring library.
"""

import pytest

from growth.forecast import interval_score, pinball_loss
from tests.outside.conftest import Tell


@pytest.mark.parametrize(("truth", "score"), [(12, 4.0), (14, 4.0), (16, 44.0), (9, 24.0)])
def test_interval_score_of_worked_cases(truth, score, tell: Tell):
    got = interval_score(10, 14, truth, level=0.9)
    assert got == pytest.approx(score)
    what = f"interval score of 10 to 14 at 90 %, truth {truth}"
    tell(what, "Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102(477)", f"{score:g}", f"{got:g}")


@pytest.mark.parametrize(
    ("quantile", "level", "truth", "loss"),
    [
        (14, 0.95, 16, 1.9),
        (14, 0.95, 12, 0.1),
        (10, 0.05, 16, 0.3),
        (10, 0.05, 9, 0.95),
        (14, 0.95, 9, 0.25),
        (12, 0.5, 15, 1.5),
    ],
)
def test_pinball_loss_of_worked_cases(quantile, level, truth, loss):
    assert pinball_loss(quantile, truth, level) == pytest.approx(loss)


@pytest.mark.parametrize("truth", [3.0, 10.0, 12.5, 17.0])
def test_interval_score_is_the_sum_of_its_two_pinball_losses(truth):
    # IS = 2/alpha (PL(low, alpha/2) + PL(high, 1 - alpha/2)), Bracher et al. 2021, PLOS Comput. Biol.
    parts = pinball_loss(10, truth, 0.1) + pinball_loss(14, truth, 0.9)
    assert interval_score(10, 14, truth, level=0.8) == pytest.approx(2 / 0.2 * parts)
