"""A face without a label at one exposure: what a network trained here expects of a picture whose light nobody knows."""

import numpy as np
from numpy.typing import NDArray

from vision.surface.bare_substrate import DARK_FLOOR, log_light
from vision.surface.segmenter_input import USUAL_LOG_LIGHT, FacePlanes

#: The brightest tenth of the face (90 % quantile of green) is brought to this light; 1.0 is matt white.
UNLABELLED_BRIGHT = 0.6


def exposure_gain(planes: FacePlanes) -> float:
    """Factor on the light of a face that brings it to the one exposure, whatever the camera chose."""
    green = planes.logs[..., 1][planes.within > 0]
    if green.size == 0:
        return 1.0
    bright = float(np.exp(np.quantile(green, 0.9) + USUAL_LOG_LIGHT)) - DARK_FLOOR
    return UNLABELLED_BRIGHT / max(bright, 1e-3)


def in_other_exposure(planes: FacePlanes, gain: float) -> FacePlanes:
    """The planes of a face in ``gain`` times the light."""
    light = (np.exp(planes.logs + np.float32(USUAL_LOG_LIGHT)) - np.float32(DARK_FLOOR)) * np.float32(gain)
    seen: NDArray[np.bool_] = planes.within[..., None] > 0
    logs = np.where(seen, log_light(light) - np.float32(USUAL_LOG_LIGHT), np.float32(0))
    return FacePlanes(logs.astype(np.float32), planes.detail, planes.within)
