"""Count patches in a natural colour of the species (such as pink oyster) as colonised instead of as foreign."""

from dataclasses import replace

import numpy as np

from calibration import own_colours
from vision.records import BARE, MYCELIUM, SUSPECT, MeasuredVessel, VesselSpec
from vision.surface.read_face import suspect_mask

#: From this percent on (coloured patches included), the colours that the species takes on with age are expected.
AGED_PERCENT = 50.0


def count_own_colours(measured: MeasuredVessel, spec: VesselSpec) -> MeasuredVessel:
    """The reading with patches in a natural colour of the species counted as colonised; they are kept and marked.

    The percent and its bounds rise by the patches' share of the face. A mould of the same colour cannot be
    distinguished, so the patch stays in the list of suspects with ``own_colour`` set.
    """
    face, reading = measured.face, measured.reading
    if face is None or reading.percent is None or not reading.suspects:
        return measured
    young = own_colours(spec.species, aged=False, own=spec.own_species)
    aged = own_colours(spec.species, aged=True, own=spec.own_species)
    patches = {one: suspect_mask(one, face, face.classes) for one in reading.suspects if one.colour in {*young, *aged}}
    if not patches:
        return measured
    surface = int(np.isin(face.classes, (BARE, MYCELIUM, SUSPECT)).sum())
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
    # If both class maps are the same object, both are replaced.
    alone = classes if face.classes_alone is face.classes else face.classes_alone
    return MeasuredVessel(raised, replace(face, classes=classes, classes_alone=alone))
