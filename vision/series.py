"""A vessel's faces over days, read again together: one outline, the bare substrate of its first photo."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.baseline import Baseline, learn_baseline
from vision.faces import find_on_face, kind_of
from vision.measure import kept_light, seen_part
from vision.read_face import read_face
from vision.records import BARE, LABEL, Face, MeasuredVessel, Reading, VesselSpec

#: A first photo with more than this colonised teaches nothing about bare substrate.
_BARE_PERCENT = 12.0
#: Outlines are cut together from at most this many photos, spread over the series.
_MOST_SIGHTS = 9


@dataclass(frozen=True, eq=False)
class SeriesFace:
    """One kept face of a vessel: days since inoculation, the face, the reading made alone, and its phase.

    phase counts the shakes before it; growth does not go back within a phase.
    """

    days: float
    face: Face
    reading: Reading
    phase: int


def read_series(faces: Sequence[SeriesFace], spec: VesselSpec) -> tuple[MeasuredVessel, ...]:
    """Readings and class maps of one vessel's faces, given in order of time, made with what the others show."""
    readable = [one for one in faces if one.reading.status == "ok"]
    if len(readable) < 2:
        return tuple(MeasuredVessel(one.reading, one.face) for one in faces)
    baseline = _first_baseline(readable)
    joint = _joint_outline(readable, spec)
    return tuple(
        _read_again(one, spec, baseline, joint)
        if one.reading.status == "ok"
        else MeasuredVessel(one.reading, one.face)
        for one in faces
    )


def _first_baseline(faces: Sequence[SeriesFace]) -> Baseline | None:
    first = faces[0]
    if (first.reading.percent or 0.0) > _BARE_PERCENT:
        return None
    return learn_baseline(kept_light(first.face), first.face.classes_alone == BARE, referenced=first.face.labelled)


def _joint_outline(faces: Sequence[SeriesFace], spec: VesselSpec) -> NDArray[np.bool_] | None:
    """One outline for all labelled faces of a vessel whose label is stuck to it; None where there is no such frame."""
    labelled = [one.face for one in faces if one.face.labelled]
    if kind_of(spec).label_place != "on_face" or len(labelled) < 2:
        return None
    picked = [labelled[i] for i in np.unique(np.linspace(0, len(labelled) - 1, _MOST_SIGHTS).round().astype(int))]
    picked = [face for face in picked if face.rgb.shape == labelled[0].rgb.shape]
    sights = [(kept_light(face), seen_part(face)) for face in picked]
    return find_on_face(spec, sights, picked[0].classes_alone == LABEL, picked[0].px_per_mm)


def _read_again(
    one: SeriesFace, spec: VesselSpec, baseline: Baseline | None, joint: NDArray[np.bool_] | None
) -> MeasuredVessel:
    face = one.face
    label = face.classes_alone == LABEL
    outline = face.classes_alone > 0
    seen = seen_part(face)
    if joint is not None and face.labelled and joint.shape == outline.shape:
        outline = joint
    cut = float((outline & ~seen).sum() / max(1, outline.sum()))
    bare = replace(one.reading, flags=tuple(flag for flag in one.reading.flags if flag != "much_hidden"))
    inside = outline & ~label & seen
    return read_face(spec, bare, face, kept_light(face), inside, label, baseline=baseline, cut_share=cut, alone=False)
