"""A vessel's faces over days, read again together: one outline, the bare substrate of its first photo."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.baseline import Baseline, learn_baseline
from vision.faces import kind_of
from vision.find_face import find_dish, find_jar, find_on_face
from vision.measure import kept_light, seen_part
from vision.read_face import read_face
from vision.records import BARE, LABEL, Face, MeasuredVessel, Reading, VesselSpec

#: A first photo with more than this colonised teaches nothing about bare substrate.
_BARE_PERCENT = 12.0
#: Outlines are cut together from at most this many photos, spread over the series.
_MOST_SIGHTS = 9
#: How far one photo's size may lie from the usual size of the same vessel, as a share of the spread over vessels.
_SAME_SIZE = 0.25


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
    outlines = dict(zip(map(id, readable), _outlines(readable, spec), strict=True))
    return tuple(
        _read_again(one, spec, baseline, outlines[id(one)])
        if id(one) in outlines
        else MeasuredVessel(one.reading, one.face)
        for one in faces
    )


def _first_baseline(faces: Sequence[SeriesFace]) -> Baseline | None:
    first = faces[0]
    if (first.reading.percent or 0.0) > _BARE_PERCENT:
        return None
    return learn_baseline(kept_light(first.face), first.face.classes_alone == BARE, referenced=first.face.labelled)


def _outlines(faces: Sequence[SeriesFace], spec: VesselSpec) -> list[NDArray[np.bool_]]:
    """The outline of each face: common to all where the label is stuck on, of one size where the vessel stands free."""
    alone = [one.face.classes_alone > 0 for one in faces]
    labelled = [i for i, one in enumerate(faces) if one.face.labelled]
    if len(labelled) < 2:
        return alone
    if kind_of(spec).label_place == "on_face":
        same = [i for i in labelled if alone[i].shape == alone[labelled[0]].shape]
        joint = _joint_outline([faces[i].face for i in same], spec)
        return [joint if i in same else outline for i, outline in enumerate(alone)]
    sized = _usual_size([faces[i].face for i in labelled], spec)
    for i in labelled:
        light, scale = kept_light(faces[i].face), faces[i].face.px_per_mm
        if spec.kind == "plate":
            alone[i], _ = find_dish(sized, light, scale, size_spread=_SAME_SIZE)
        else:
            alone[i], _, _ = find_jar(sized, light, scale, size_spread=_SAME_SIZE)
    return alone


def _joint_outline(faces: Sequence[Face], spec: VesselSpec) -> NDArray[np.bool_]:
    picked = [faces[i] for i in np.unique(np.linspace(0, len(faces) - 1, _MOST_SIGHTS).round().astype(int))]
    sights = [(kept_light(face), seen_part(face)) for face in picked]
    return find_on_face(spec, sights, picked[0].classes_alone == LABEL, picked[0].px_per_mm)


def _usual_size(faces: Sequence[Face], spec: VesselSpec) -> VesselSpec:
    """The vessel with the median size of its face in the photos, each read alone."""
    sizes = []
    for face in faces:
        surface = (face.classes_alone > 0) & (face.classes_alone != LABEL)
        rows, columns = np.nonzero(surface.any(axis=1))[0], np.nonzero(surface.any(axis=0))[0]
        sizes.append(((columns[-1] - columns[0]) / face.px_per_mm, (rows[-1] - rows[0]) / face.px_per_mm))
    width, height = np.median(sizes, axis=0)
    if spec.kind == "plate":
        return replace(spec, diameter_mm=float(width + height) / 2)
    return replace(spec, diameter_mm=None, face_width_mm=float(width), face_height_mm=float(height))


def _read_again(
    one: SeriesFace, spec: VesselSpec, baseline: Baseline | None, outline: NDArray[np.bool_]
) -> MeasuredVessel:
    face = one.face
    label = face.classes_alone == LABEL
    seen = seen_part(face)
    cut = float((outline & ~seen).sum() / max(1, outline.sum()))
    bare = replace(one.reading, flags=tuple(flag for flag in one.reading.flags if flag != "much_hidden"))
    inside = outline & ~label & seen
    return read_face(spec, bare, face, kept_light(face), inside, label, baseline=baseline, cut_share=cut, alone=False)
