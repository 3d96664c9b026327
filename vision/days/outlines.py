"""The outline of a face, given those of the vessel's earlier photos."""

import cv2
import numpy as np

from calibration import vessel_kinds
from vision.days.past import Mask, Past, at_compared_scale
from vision.face import pixels_in_photo, usual_sides, with_cut_off
from vision.records import Face, VesselSpec, kind_of

#: How many earlier outlines are compared with, and how many there must be.
KEPT_OUTLINES, _FEWEST = 6, 2
#: An outline whose intersection over union with the majority outline is below this is replaced by it.
_MIN_OUTLINE_IOU = 0.8


def outline_in_series(past: Past, face: Face, spec: VesselSpec) -> Mask:
    """The outline from the photo itself; one that lies far from the earlier ones of a bag is replaced."""
    outline = np.asarray(face.classes_alone > 0)
    if not face.labelled or vessel_kinds()[spec.kind].is_dish:
        return outline
    outline = with_cut_off(outline, pixels_in_photo(face), usual_sides(spec), face.px_per_mm)
    if kind_of(spec).label_place == "on_face" and past.same_frame(face):
        return _unless_astray(outline, past.outlines, face.px_per_mm)
    return outline


def _unless_astray(outline: Mask, earlier: tuple[Mask, ...], px_per_mm: float) -> Mask:
    """The outline, or the majority outline of the earlier photos and this one if it lies far from that."""
    if len(earlier) < _FEWEST:
        return outline
    own = at_compared_scale(outline, px_per_mm)
    usual = np.asarray(2 * np.sum([*earlier, own], axis=0, dtype=np.uint8) > len(earlier) + 1)
    if (own & usual).sum() > _MIN_OUTLINE_IOU * max(1, int((own | usual).sum())):
        return outline
    large = cv2.resize(usual.astype(np.uint8), outline.shape[::-1], interpolation=cv2.INTER_NEAREST)
    return np.asarray(large > 0)
