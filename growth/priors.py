"""Where a law's pooling starts: the species table's pace for each group, and usual spreads."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from growth.bodies import Body
from growth.gather import Group
from growth.hierarchy import Prior

# Standard deviations of (log half-way day, logit of the growing part, tail), and of the shape as a part of the law's
# own spread. How unsure the table is of a farm's mean; how vessels of a batch, and batches of a group, usually scatter.
# Common practice, no source; the farm's own spreads take over as records come in.
_TABLE = (0.40, 0.80, 1.00, 1.0)
_WITHIN = (0.14, 0.30, 0.20, 0.4)
_BETWEEN = (0.22, 0.25, 0.10, 0.3)
_SHAPELESS = 0.3  # spread of the idle shape number of a law that has none


def law_prior(body: Body, groups: Sequence[Group], through_percent: float) -> Prior:
    """Prior of one law: half-way day and growing part that agree with the table's lag and days to colonised through."""
    usual = np.array([body.shape_mean])
    half, through = float(body.when(0.5, usual)[0]), float(body.when(through_percent / 100.0, usual)[0])
    rows = []
    for group in groups:
        lag_days = group.pace.lag_days
        growing_days = (group.pace.through_days - lag_days) * half / through
        rows.append([np.log(lag_days + growing_days), np.log(growing_days / lag_days), body.shape_mean, 0.0])
    spread = body.shape_spread or _SHAPELESS
    return Prior(np.array(rows), _square(_TABLE, spread), _square(_WITHIN, spread), _square(_BETWEEN, spread))


def _square(spreads: tuple[float, float, float, float], shape_spread: float) -> NDArray[np.float64]:
    half, growing, tail, shape = spreads
    return np.diag(np.square([half, growing, shape * shape_spread, tail]))
