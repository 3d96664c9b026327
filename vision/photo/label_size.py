"""Whether a vessel's label is the small one although its record does not say so, going by the size of its face."""

import numpy as np

from calibration import vessel_kinds
from vision.face import FoundFace
from vision.photo.measure_face import MIN_CONFIDENCE
from vision.records import VesselSpec, kind_of

#: A face larger than usual by this factor (square root of its area) was measured by a label of half the size that it
#: was taken for. On 102 scenes faces reach 1.16 by the right size (98 % of them) and 1.39 at least by twice that size.
_TOO_LARGE = 1.27
#: So was one whose outline runs along the frame's border for more than this share of its size (square root of its
#: area): at most 0.04 by the right size (98 % of them), mostly more than 0.3 by twice that size.
_ALONG_BORDER = 0.2
#: Least confidence in the face that is then found by a small label: 63 of 64 on those scenes, and no wrong one.
_SURE = 0.8


def label_may_be_small(spec: VesselSpec, found: FoundFace) -> bool:
    """Whether the face is not found or too large by a normal label, where the record leaves its size open."""
    if spec.label_size is not None or vessel_kinds()[spec.kind].label_size != "normal":
        return False
    lost = found.confidence < MIN_CONFIDENCE
    return lost or _times_usual(spec, found) > _TOO_LARGE or _share_along_border(found) > _ALONG_BORDER


def is_of_usual_size(spec: VesselSpec, found: FoundFace) -> bool:
    """Whether a face was found that is no larger and no smaller than the vessel's can be."""
    return found.confidence >= _SURE and 1 / _TOO_LARGE**2 < _times_usual(spec, found) < _TOO_LARGE


def _times_usual(spec: VesselSpec, found: FoundFace) -> float:
    """Size of a face relative to the usual one of its kind or record: square root of the ratio of their areas."""
    kind = kind_of(spec)
    area_mm2 = np.count_nonzero(found.inside) / found.frame.px_per_mm**2
    return float(np.sqrt(area_mm2 / (kind.face_width_mm * kind.face_height_mm)))


def _share_along_border(found: FoundFace) -> float:
    """Length of the face's outline on the frame's border, relative to the square root of its area."""
    inside = found.inside
    length = sum(np.count_nonzero(side) for side in (inside[0], inside[-1], inside[:, 0], inside[:, -1]))
    return float(length / max(1.0, np.sqrt(np.count_nonzero(inside))))
