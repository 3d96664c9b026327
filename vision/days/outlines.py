"""The outline of a face, given those of the vessel's earlier photos."""

from dataclasses import replace

import cv2
import numpy as np

from calibration import vessel_kinds
from vision.days.past import Mask, Past, at_compared_scale
from vision.face import find_dish, pixels_in_photo, usual_sides, with_cut_off
from vision.pixels import linear_from_saved
from vision.records import LABEL, Face, VesselSpec, kind_of

#: How many earlier outlines are compared with, and how many there must be.
KEPT_OUTLINES, _FEWEST = 6, 2
#: An outline whose intersection over union with the majority outline is below this is replaced by it.
_MIN_OUTLINE_IOU = 0.8
#: Spread of a dish's size between its own photos, as a share of the spread between dishes.
_SAME_SIZE = 0.25


def outline_in_series(past: Past, face: Face, spec: VesselSpec) -> Mask:
    """The outline from the photo itself; photos of a dish share one size, and an outlier on a bag is replaced."""
    outline = np.asarray(face.classes_alone > 0)
    is_dish = vessel_kinds()[spec.kind].is_dish
    if not face.labelled:
        return outline
    if not is_dish:
        outline = with_cut_off(outline, pixels_in_photo(face), usual_sides(spec), face.px_per_mm)
    if kind_of(spec).label_place == "on_face" and past.same_frame(face):
        return _unless_astray(outline, past.outlines, face.px_per_mm)
    if is_dish and past.n_labelled:
        usual = replace(spec, diameter_mm=float(np.median([*past.diameters_mm, diameter_mm(face)])))
        outline, _ = find_dish(usual, linear_from_saved(face.rgb), face.px_per_mm, size_spread=_SAME_SIZE)
    return outline


def _unless_astray(outline: Mask, earlier: tuple[Mask, ...], px_per_mm: float) -> Mask:
    """The outline, or the majority outline of the earlier photos and this one if it lies far from that."""
    if len(earlier) < _FEWEST:
        return outline
    own = at_compared_scale(outline, px_per_mm)
    usual = np.mean([*earlier, own], axis=0) > 0.5
    if (own & usual).sum() > _MIN_OUTLINE_IOU * max(1, int((own | usual).sum())):
        return outline
    large = cv2.resize(usual.astype(np.uint8), outline.shape[::-1], interpolation=cv2.INTER_NEAREST)
    return np.asarray(large > 0)


def diameter_mm(face: Face) -> float:
    """Diameter of a dish's agar as its photo alone shows it, mean of width and height."""
    surface = (face.classes_alone > 0) & (face.classes_alone != LABEL)
    rows, columns = np.nonzero(surface.any(axis=1))[0], np.nonzero(surface.any(axis=0))[0]
    return float(columns[-1] - columns[0] + rows[-1] - rows[0]) / 2 / face.px_per_mm
