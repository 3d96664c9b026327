"""Coverage of forecast intervals by a small simulation-based calibration (Talts et al. 2018, arXiv:1804.06788).

``python -m benchmarks.forecast --own-prior`` is the large version; without the option the benchmark uses simulated
fronts that follow no law.
"""

from dataclasses import replace

import pytest
from scipy.stats import chisquare

from benchmarks.forecast.own_prior import rank_counts
from benchmarks.forecast.score import Tally, score_farm
from benchmarks.forecast.simulate import PLANS, simulate

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("law", ["kjma", "linear"])
def test_the_truth_is_uniform_between_the_quantiles(law):
    """Ranks of one vessel from each of 80 independent groups: chi-square on 9 degrees of freedom.

    The draws are fixed, so the result is repeatable; other draws of a correct forecast would fail with a chance of
    0.1 % (limit 27.9). With intervals of half the correct width, 0.26 of truths fall in each outer tenth (a normal
    beyond 0.64 deviations) and the expected value is 61; a wrong centre is detected as easily.
    """
    counts = rank_counts(law, [1], groups=80)
    assert counts.sum() == 80
    assert chisquare(counts).pvalue > 0.001, counts


def test_on_simulated_fronts_it_beats_the_baselines_and_its_intervals_hold():
    """A small farm of blocks, jars and plates; six seeds gave ratios 0.44-0.66, 0.47-0.64, held 0.63-0.88."""
    plan = replace(PLANS[0], crops=PLANS[0].crops[:3], vessels=7)
    tally = Tally()
    score_farm(simulate(plan, 1), tally)
    median = {name: sorted(errors)[len(errors) // 2] for name, errors in tally.errors.items()}
    assert median["this project"] < 0.75 * min(value for name, value in median.items() if name != "this project")
    assert sum(tally.scores["this project"]) < 0.75 * sum(tally.scores["quantiles of the past"])
    # 60 vessels of 9 batches with correlated errors: 0.8 with a standard error of 0.08
    assert 0.64 <= sum(tally.held) / len(tally.held) <= 0.96
    assert tally.false_stalls <= 1
