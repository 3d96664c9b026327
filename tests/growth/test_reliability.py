"""Is the forecast right as often as it says? Simulation-based calibration, small (Talts et al. 2018, arXiv:1804.06788).

``python -m benchmarks.forecast --own-prior`` is the large version; the benchmark without it asks the harder question,
on simulated fronts that follow no law.
"""

from dataclasses import replace

import pytest
from scipy.stats import chisquare

from benchmarks.forecast.own_prior import rank_counts
from benchmarks.forecast.score import Tally, score_farm
from benchmarks.forecast.simulate import PLANS, simulate

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("law", ["kjma", "linear"])
def test_truth_falls_evenly_between_the_quantiles(law):
    """Ranks of one vessel from each of 80 independent groups: chi-square on 9 degrees of freedom.

    The draws are fixed, so this passes or fails for good; 0.1 % (a limit of 27.9) is the chance with which fresh draws
    of a forecast that is right would fail. One whose intervals are half as wide as they should be puts 0.26 of truths
    in each outer tenth (a normal beyond 0.64 deviations) and is expected to give 61; a wrong centre shows as soon.
    """
    counts = rank_counts(law, [1], groups=80)
    assert counts.sum() == 80
    assert chisquare(counts).pvalue > 0.001, counts


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
