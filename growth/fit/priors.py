"""Priors of a law before any record: the species table's pace for each group, and usual spreads."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration import vessel_kinds
from growth.fit.arrays import Group
from growth.fit.hierarchy import Prior
from growth.laws import GrowthLaw, spans_at

# Standard deviations of (log half-way day, logit of the growing part, tail), and of the shape as a part of the law's
# own spread: of the table about a farm's mean, of vessels within a batch, and of batches within a group. Common
# practice, no source, except for the tail within a batch, which is measured on simulated fronts (0.3-0.6 for every
# kind). The farm's own spreads replace them as records come in.
_TABLE = (0.40, 0.80, 0.60, 1.0)
_WITHIN = (0.12, 0.25, 0.50, 0.4)
_BETWEEN = (0.22, 0.25, 0.10, 0.3)
_SHAPELESS = 0.3  # spread of the unused shape parameter of a law without one


def law_prior(law: GrowthLaw, groups: Sequence[Group], through_percent: float) -> Prior:
    """Prior of one law: half-way day and growing part that agree with the table's lag and days to through."""
    rows = []
    for group in groups:
        lag_days, tail = group.pace.lag_days, math.log(vessel_kinds()[group.kind].last_tenth)
        form = np.array([0.0, 0.0, law.shape_mean, tail])
        part = float(law.time_at(0.5, form[2:3])[0] / spans_at(law, through_percent / 100.0, form))
        growing_days = (group.pace.through_days - lag_days) * part
        rows.append([math.log(lag_days + growing_days), math.log(growing_days / lag_days), law.shape_mean, tail])
    spread = law.shape_spread or _SHAPELESS
    return Prior(np.array(rows), _square(_TABLE, spread), _square(_WITHIN, spread), _square(_BETWEEN, spread))


def _square(spreads: tuple[float, float, float, float], shape_spread: float) -> NDArray[np.float64]:
    half, growing, tail, shape = spreads
    return np.diag(np.square([half, growing, shape * shape_spread, tail]))
