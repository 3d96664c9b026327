"""Is the forecast right as often as it says? Simulation-based calibration, small.

Farms are drawn from the forecast's own prior, so whatever interval is asked for must hold the truth that often, and the
truth must fall evenly between the quantiles (Talts et al. 2018, arXiv:1804.06788). The benchmark asks the harder
question, on farms that follow no law.
"""

import numpy as np
import pytest
from scipy.stats import chi2

from calibration import usual_pace
from growth import ForecastSettings, Series, forecast
from growth.bodies import BODIES, days_at, share_at
from growth.gather import Group
from growth.priors import law_prior

LEVELS = (0.2, 0.4, 0.6, 0.8)
LAST_SPREAD = 0.3  # of the last stretch about the law's, as the forecast takes it
NOISE = 0.02


def drawn_farm(law, seed, batches=6, vessels=10, finished=3):
    """Vessels (series, true day, live) of one farm drawn from the prior of one law."""
    rng = np.random.default_rng(seed)
    body = BODIES[law]
    pace, _ = usual_pace("block", "oyster", "straw")
    prior = law_prior(body, [Group("block", "oyster", "straw", pace, "")], 99.0)
    group = rng.multivariate_normal(prior.mean[0], 0.3 * prior.covariance)
    farm = []
    for batch in range(batches):
        centre = rng.multivariate_normal(group, prior.between)
        for vessel in range(vessels):
            theta = rng.multivariate_normal(centre, prior.within)[None]
            day = float(days_at(body, 0.99, theta)[0])
            stretch = day - float(days_at(body, 0.95, theta)[0])
            live = batch >= finished
            end = float(days_at(body, rng.uniform(0.1, 0.92), theta)[0]) if live else 1.2 * day
            days = np.arange(0.3, max(end, 1.5), max(1.0, day / 25))
            share = share_at(body, days[None], theta)[0]
            seen = np.clip(share + error(share) * rng.standard_normal(len(days)), 0, 1)
            low, high = np.maximum(seen - 1.2816 * error(seen), 0), np.minimum(seen + 1.2816 * error(seen), 1)
            readings = (tuple(map(float, days)), *(tuple(100 * x) for x in (seen, low, high)))
            series = Series(f"{batch}.{vessel}", "block", "oyster", "straw", f"b{batch}", *readings)
            farm.append((series, day + stretch * np.expm1(LAST_SPREAD * rng.standard_normal()), live))
    return farm


def error(share):
    return NOISE * (0.3 + 0.7 * np.sqrt(4 * share * (1 - share)))


@pytest.mark.parametrize("law", ["kjma", "gompertz"])
def test_truth_falls_evenly_between_the_quantiles(law):
    ranks = []
    for seed in range(6):
        farm = drawn_farm(law, seed)
        series = [s for s, _, _ in farm]
        runs = [forecast(series, settings=ForecastSettings(laws=(law,), interval=i, curve=False)) for i in LEVELS]
        for row, (_, day, live) in enumerate(farm):
            ends = [end for run in runs for end in (run[row].through_low, run[row].through_high)]
            if live and None not in ends:
                ranks.append(np.searchsorted(np.sort([*ends, runs[0][row].through_median]), day))
    counts = np.bincount(ranks, minlength=10)
    held = counts[1:9].sum() / counts.sum()
    # 180 vessels of 18 batches: vessels of a batch err together, so the band is that of about 60 independent ones
    assert 0.70 <= held <= 0.92
    expected = counts.sum() / 10
    statistic = ((counts - expected) ** 2 / expected).sum() * 60 / counts.sum()
    assert statistic < chi2.ppf(0.99, 9), counts
