"""A proper score of an interval: smaller is better, and stating the true quantiles minimises its expectation.

Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102(477): 359-378, section 6.2.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.floating[Any]]


def interval_score(low: ArrayLike, high: ArrayLike, truth: ArrayLike, level: float = 0.8) -> Array:
    """Score of a central interval of probability ``level``: its width, plus ``2/(1 - level)`` for each unit of a miss.

    All in the same unit (days, say); arrays are scored one by one.
    """
    low, high, truth = np.asarray(low, dtype=float), np.asarray(high, dtype=float), np.asarray(truth, dtype=float)
    miss = np.maximum(low - truth, 0.0) + np.maximum(truth - high, 0.0)
    return np.asarray(high - low + 2.0 / (1.0 - level) * miss)
