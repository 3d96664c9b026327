"""Where a law's pooling starts: the species table's pace for each group, and usual spreads."""

from collections.abc import Sequence

import numpy as np

from growth.bodies import Body
from growth.gather import Group
from growth.hierarchy import Prior

# Standard deviations of (log lag, log span, tail), and as a share of the law's own spread for the shape. How unsure the
# table is of a farm's mean; how vessels of a batch, and batches of a group, usually scatter. Common practice, no source;
# the farm's own spreads take over as records come in.
_TABLE = (0.45, 0.40, 0.30, 0.5)
_WITHIN = (0.25, 0.14, 0.25, 0.4)
_BETWEEN = (0.20, 0.20, 0.10, 0.3)
_SHAPELESS = 0.3  # spread of the idle shape number of a law that has none


def law_prior(body: Body, groups: Sequence[Group], through_percent: float) -> Prior:
    """Prior of one law: its span is set so that lag and days to colonised through agree with the table's row."""
    usual = np.array([body.shape_mean])
    span_to_through = float(body.when(through_percent / 100.0, usual)[0])
    rows = []
    for group in groups:
        lag, through = group.pace.lag_days, group.pace.through_days
        rows.append([np.log(lag), np.log((through - lag) / span_to_through), body.shape_mean, 0.0])
    spread = body.shape_spread or _SHAPELESS
    return Prior(np.array(rows), _square(_TABLE, spread), _square(_WITHIN, spread), _square(_BETWEEN, spread))


def _square(spreads: tuple[float, float, float, float], shape_spread: float) -> np.ndarray:
    lag, span, tail, shape = spreads
    return np.diag(np.square([lag, span, shape * shape_spread, tail]))
