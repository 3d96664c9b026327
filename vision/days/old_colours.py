"""Patches that a vessel had in its first photo already: tape, a tag, a chip. They are no suspects."""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.days.monotone_growth import COMPARED_PX_PER_MM, compared_size
from vision.days.past import FirstDay, Mask, at_compared_scale
from vision.pixels import box_of, linear_from_saved, to_lab
from vision.records import Face
from vision.surface import SuspectPatch

#: A patch is at the place of an older one if most of it lies within this distance, and has grown if it is larger by
#: this factor.
_SAME_SPOT_MM, _GROWN = 8.0, 2.0
#: Chroma above which a patch counts as coloured, and largest distance of two equal colours in the a*b* plane (CIE Lab
#: 1976) and in lightness. Lightness decides only where nothing stood out before: translucent tape brightens as the
#: mycelium behind it whitens.
_COLOURED, _SAME_COLOUR, _SAME_LIGHTNESS = 20.0, 12.0, 12.0
#: Width of the surroundings that a patch must have stood out from, mm.
_AROUND_MM = 6.0
#: No mould shows its colour earlier than this many days after inoculation (common practice, no source).
_TOO_EARLY_DAYS = 2.0


def without_old_colours(suspects: tuple[SuspectPatch, ...], face: Face, first: FirstDay) -> tuple[SuspectPatch, ...]:
    """The suspects of a face without those that were present in the vessel's first days and have not grown.

    Tape, a chip or a coloured light is visible before a mould can show colour, and keeps its place and size. Applied
    only if a label fixes the position of the face, and if the first photo is early enough.
    """
    if not first.labelled or first.days > _TOO_EARLY_DAYS or first.shape != face.rgb.shape[:2]:
        return suspects
    return tuple(one for one in suspects if not _is_old(one, face, first) and not _had_the_colour(one, face, first))


def _is_old(suspect: SuspectPatch, face: Face, first: FirstDay) -> bool:
    rows, columns = np.nonzero(at_compared_scale(suspect.mask, face.px_per_mm))
    reach = _SAME_SPOT_MM * min(face.px_per_mm, COMPARED_PX_PER_MM)
    for mask, area_cm2 in first.patches:
        if suspect.area_cm2 > _GROWN * area_cm2 or not rows.size:
            continue
        near = cv2.distanceTransform(1 - mask.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_3)
        if float((near[rows, columns] <= reach).mean()) > 0.5:
            return True
    return False


def _had_the_colour(suspect: SuspectPatch, face: Face, first: FirstDay) -> bool:
    """Whether a patch had its colour in the first photo already, as a tag or straw that stood out less then.

    If its lightness has changed, it must have stood out then: brown grain that turns orange changes more in lightness
    than in hue, but looked like the grain around it before.
    """
    there = at_compared_scale(suspect.mask, face.px_per_mm)
    spots = there & first.inside
    if not spots.any():
        return False
    then = np.median(first.lab[spots].astype(np.float64), axis=0)
    part = box_of(suspect.mask)
    now = np.median(to_lab(linear_from_saved(face.rgb).light(part))[suspect.mask[part]], axis=0)
    if min(_chroma(now), _chroma(then)) <= _COLOURED or _chroma(now - then) >= _SAME_COLOUR:
        return False
    if abs(now[0] - then[0]) <= _SAME_LIGHTNESS:
        return True
    around = _near(there, _AROUND_MM * COMPARED_PX_PER_MM) & first.inside & ~there
    if not around.any():
        return False
    return _chroma(np.median(first.lab[around].astype(np.float64), axis=0) - then) > _chroma(now - then)


def _near(mask: Mask, reach_px: float) -> Mask:
    side = 2 * round(reach_px) + 1
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((side, side), np.uint8)) > 0)


def _chroma(lab: NDArray[np.floating]) -> float:
    """Length of a colour (L, a, b), or of a difference of two, in the a*b* plane."""
    return float(np.hypot(lab[1], lab[2]))


def lab_of(face: Face) -> NDArray[np.int8]:
    """CIELAB of a face at the scale at which days are compared, rounded to whole numbers."""
    light = linear_from_saved(face.rgb).light()
    small = cv2.resize(light, compared_size(light.shape, face.px_per_mm), interpolation=cv2.INTER_AREA)
    return np.clip(np.round(to_lab(np.asarray(small, np.float32))), -128, 127).astype(np.int8)
