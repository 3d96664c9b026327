"""Mycelium in the colours that its species has of its own: counted as colonised, not taken for a foreign patch."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import own_colours
from vision.frame import frame_of
from vision.read_face import mask_box
from vision.records import BARE, MYCELIUM, SUSPECT, Box, Face, MeasuredVessel, Suspect, VesselSpec

#: From this percent on, coloured patches counted in, a face may show the colours that its species takes on with age.
AGED_PERCENT = 50.0
#: How far the box of a patch on the map may differ from that of its suspect, as intersection over union.
_SAME_BOX = 0.5


def count_own_colours(measured: MeasuredVessel, spec: VesselSpec) -> MeasuredVessel:
    """The reading with patches in a colour of the species' own counted as colonised; they stay in it, marked as such.

    The percent and its bounds rise by the patches' share of the face. A mould of the same colour cannot be told from
    it: who looks for one finds the patch among the suspects still.
    """
    face, reading = measured.face, measured.reading
    if face is None or reading.percent is None or not reading.suspects:
        return measured
    surface = int(np.isin(face.classes, (BARE, MYCELIUM, SUSPECT)).sum())
    patches = {one: _patch_of(one, face) for one in reading.suspects}
    young = own_colours(spec.species, aged=False, own=spec.own_species)
    aged = own_colours(spec.species, aged=True, own=spec.own_species)
    coloured = sum(int(patch.sum()) for one, patch in patches.items() if one.colour in aged)
    is_aged = reading.percent + 100.0 * coloured / max(1, surface) >= AGED_PERCENT
    own = [one for one in reading.suspects if one.colour in (aged if is_aged else young)]
    if not own:
        return measured
    classes = face.classes.copy()
    for one in own:
        classes[patches[one]] = MYCELIUM
    rise = 100.0 * float((classes != face.classes).sum()) / max(1, surface)
    low, high = reading.percent_low or 0.0, reading.percent_high or 0.0
    raised = replace(
        reading,
        percent=round(min(100.0, reading.percent + rise), 2),
        percent_low=round(min(100.0, low + rise), 2),
        percent_high=round(min(100.0, high + rise), 2),
        suspects=tuple(replace(one, own_colour=one in own) for one in reading.suspects),
    )
    # The map as made alone is kept apart only where it is another one.
    alone = classes if face.classes_alone is face.classes else face.classes_alone
    return MeasuredVessel(raised, replace(face, classes=classes, classes_alone=alone))


def _patch_of(suspect: Suspect, face: Face) -> NDArray[np.bool_]:
    """Where on the class map a suspect lies: its parts are told by their box in the photo."""
    frame = frame_of(face.to_photo, face.classes, face.px_per_mm)
    count, labels = cv2.connectedComponents((face.classes == SUSPECT).astype(np.uint8), connectivity=8)
    parts = [labels == label for label in range(1, count)]
    found = [part for part in parts if _overlap(mask_box(part, frame), suspect.box) > _SAME_BOX]
    return np.asarray(np.any(found, axis=0)) if found else np.zeros(face.classes.shape, bool)


def _overlap(one: Box, other: Box) -> float:
    """Intersection over union of two boxes."""
    across = min(one[0] + one[2], other[0] + other[2]) - max(one[0], other[0])
    down = min(one[1] + one[3], other[1] + other[3]) - max(one[1], other[1])
    both = max(across, 0) * max(down, 0)
    return both / max(1, one[2] * one[3] + other[2] * other[3] - both)
