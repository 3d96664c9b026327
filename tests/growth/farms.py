"""Small invented farms for tests, drawn from the growth laws (the farms of benchmarks follow no law)."""

import numpy as np

from growth.data import Series
from growth.laws import kjma

SPREAD = 0.02


def readings(rng, days, percent, spread=SPREAD):
    """Readings with random errors of true percents, with 80 % bounds."""
    share = np.asarray(percent) / 100
    error = spread * (0.3 + 0.7 * np.sqrt(4 * share * (1 - share)))
    seen = np.clip(share + error * rng.standard_normal(len(share)), 0, 1)
    reach = 1.2816 * spread * (0.3 + 0.7 * np.sqrt(4 * seen * (1 - seen)))
    return {
        "days": tuple(map(float, days)),
        "percent": tuple(100 * seen),
        "low": tuple(100 * np.maximum(seen - reach, 0)),
        "high": tuple(100 * np.minimum(seen + reach, 1)),
    }


def through_day(lag, rate, order):
    """Day on which the impingement law passes 99 %: lag + ln(100)^(1/n) / k (Avrami's equation solved for t)."""
    return lag + np.log(100) ** (1 / order) / rate


def block(name, lag=3.0, rate=0.14, order=2.0, until=None, batch="A", seed=0, step=1.0, **more):
    """A block of oyster on straw and the true day it is colonised through; read daily until ``until`` (default: long
    after that day)."""
    rng = np.random.default_rng(seed + sum(map(ord, name)))
    day = through_day(lag, rate, order)
    days = np.arange(0.4, until or day + 3, step)
    fields = {"kind": "block", "species": "oyster", "substrate": "straw", "batch": batch} | more
    return Series(vessel=name, **fields, **readings(rng, days, kjma(days, lag, rate, order))), day


def past(n=12, batches=("P", "Q"), rate=0.14, **more):
    """Finished blocks, the history of a farm; vessels differ by a tenth in rate."""
    rng = np.random.default_rng(3)
    made = []
    for batch in batches:
        for i in range(n // len(batches)):
            made.append(block(f"{batch}{i}", rate=rate * np.exp(0.1 * rng.standard_normal()), batch=batch, **more)[0])
    return made


def stalled_block(name="X1", at=7.5, until=20.0, **more):
    """A block that stops growing on day ``at``."""
    days = np.arange(0.4, until, 1.0)
    fields = {"kind": "block", "species": "oyster", "substrate": "straw", "batch": "A"} | more
    rng = np.random.default_rng(4 + sum(map(ord, name)))
    return Series(vessel=name, **fields, **readings(rng, days, kjma(np.minimum(days, at), 3.0, 0.14, 2.0)))
