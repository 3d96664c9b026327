"""Is the forecast right as often as it says? Simulation-based calibration, small (Talts et al. 2018, arXiv:1804.06788).

``python -m benchmarks.forecast --own-prior`` is the large version; the benchmark without it asks the harder question,
on simulated fronts that follow no law.
"""

from dataclasses import replace

import pytest
from scipy.stats import chi2

from benchmarks.forecast.own_prior import rank_counts
from benchmarks.forecast.score import Tally, score_farm
from benchmarks.forecast.simulate import PLANS, simulate

VESSELS_IN_BATCH_AS_INDEPENDENT = 1 / 3  # vessels of a batch err together


@pytest.mark.parametrize("law", ["kjma", "gompertz"])
def test_truth_falls_evenly_between_the_quantiles(law):
    counts = rank_counts(law, range(6))
    n = counts.sum()
    assert n > 150
    assert 0.70 <= counts[1:9].sum() / n <= 0.92
    statistic = ((counts - n / 10) ** 2 / (n / 10)).sum() * VESSELS_IN_BATCH_AS_INDEPENDENT
    assert statistic < chi2.ppf(0.99, 9), counts


def test_on_simulated_fronts_it_beats_the_baselines_and_knows_how_well():
    """A small farm of blocks, jars and plates; six seeds gave ratios 0.44-0.66, 0.47-0.64, held 0.63-0.88."""
    plan = replace(PLANS[0], crops=PLANS[0].crops[:3], vessels=7)
    tally = Tally()
    score_farm(simulate(plan, 1), tally)
    median = {name: sorted(errors)[len(errors) // 2] for name, errors in tally.errors.items()}
    assert median["this project"] < 0.75 * min(value for name, value in median.items() if name != "this project")
    assert sum(tally.scores["this project"]) < 0.75 * sum(tally.scores["quantiles of the past"])
    # 60 vessels of 9 batches, which err together: 0.8 give or take twice 0.08
    assert 0.64 <= sum(tally.held) / len(tally.held) <= 0.96
    assert tally.false_stalls <= 1
