"""A vessel's faces over days, read again together: one outline, the bare substrate of its first photo."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.days.over_days import steady_growth
from vision.face import find_dish, seen_part, usual_sides, with_cut_off
from vision.pixels import lit_again, to_lab
from vision.records import BARE, LABEL, Face, MeasuredVessel, Reading, VesselSpec, kind_of
from vision.surface import (
    Anomaly,
    Baseline,
    FaceSegmentation,
    as_triple,
    fill_reading,
    learn_baseline,
    segment_within,
    suspect_patch,
)

#: A first photo with more than this colonised teaches nothing about bare substrate.
BARE_FIRST_PERCENT = 12.0
#: An outline that has less than this in common with most days' (intersection over union) is taken for a wrong one.
_STRAYED = 0.8
#: A photo from before growth can show that has more than this colonised says that it is later than the record tells.
_BARE_PERCENT = 3.0
#: What is left of a probability where nothing can have grown.
_LEFT_OF_IT = 0.05
#: How far one photo's size of a dish may lie from its usual size, as a share of the spread over dishes.
_SAME_SIZE = 0.25
#: A mould's young, colourless edge reaches about this far beyond its colour.
_MOULD_EDGE_MM = 15.0
#: A patch lies on the spot of an older one if most of it is within this; it has grown if it is this many times larger.
_SAME_SPOT_MM, _GROWN = 8.0, 2.0
#: A patch of which the series shows less than this share of what its photo alone showed is hidden by what it knows.
_HIDDEN = 0.5
#: Chroma above which a patch has a colour of its own, and how far two may lie apart to be the same, in a* and b* alone
#: (CIE Lab 1976): what tape lets through makes it lighter as the vessel whitens.
_COLOURED, _SAME_COLOUR = 20.0, 12.0
#: Before this many days after inoculation no mould shows its colour (common practice, no source).
_TOO_EARLY_DAYS = 2.0


@dataclass(frozen=True, eq=False)
class SeriesFace:
    """One kept face of a vessel: days since inoculation, the face, the reading made alone, and its phase.

    phase counts the shakes before it; growth does not go back within a phase.
    """

    days: float
    face: Face
    reading: Reading
    phase: int


def read_series(
    faces: Sequence[SeriesFace], spec: VesselSpec, mates: Sequence[Face] = ()
) -> tuple[MeasuredVessel, ...]:
    """Readings and class maps of one vessel's faces, given in order of time, made with what the others show.

    mates: bare first faces of other vessels of its batch, on the same substrate; they say what its bare substrate looks
    like where its own first photo came too late for that.
    """
    readable = [one for one in faces if one.reading.status == "ok"]
    if not readable or (len(readable) < 2 and not mates and not _before_growth(readable[0], spec)):
        return tuple(MeasuredVessel(one.reading, one.face) for one in faces)
    baseline = _first_baseline(readable) or _mates_baseline(mates)
    looks = [
        _look(one, spec, baseline, outline) for one, outline in zip(readable, _outlines(readable, spec), strict=True)
    ]
    looks = _without_old_colours([_bare(look) if _before_growth(look.one, spec) else look for look in looks])
    if kind_of(spec).label_place == "on_face" and _same_frame(readable):
        looks = _agree_over_days(looks)
    read = {id(look.one): _fill(look) for look in looks}
    return tuple(read.get(id(one), MeasuredVessel(one.reading, one.face)) for one in faces)


def _same_frame(faces: Sequence[SeriesFace]) -> bool:
    """Whether a point of the vessel has one place in all faces: its label is stuck to it and was seen in each."""
    return all(one.face.labelled and one.face.rgb.shape == faces[0].face.rgb.shape for one in faces)


@dataclass(frozen=True, eq=False)
class _Look:
    """A face segmented with what the series knows: where it is, what is label, what was seen, what share is cut off."""

    one: SeriesFace
    inside: NDArray[np.bool_]
    label: NDArray[np.bool_]
    seen: FaceSegmentation
    cut_share: float


def _look(one: SeriesFace, spec: VesselSpec, baseline: Baseline | None, outline: NDArray[np.bool_]) -> _Look:
    face = one.face
    label = face.classes_alone == LABEL
    in_photo = seen_part(face)
    inside = outline & ~label & in_photo
    seen = _with_suspects_alone(segment_within(spec, face, lit_again(face.rgb), inside, baseline=baseline), one)
    return _Look(one, inside, label, seen, float((outline & ~in_photo).sum() / max(1, outline.sum())))


def _with_suspects_alone(seen: FaceSegmentation, one: SeriesFace) -> FaceSegmentation:
    """What was seen, with the patches that the photo alone showed and that the known bare substrate hides.

    A mould over most of a face, or one of the substrate's colour, can look like substrate beside it.
    """
    anomalies = list(seen.anomalies)
    for suspect in one.reading.suspects:
        patch = suspect_patch(suspect, one.face, one.face.classes_alone)
        there = [anomaly for anomaly in anomalies if (anomaly.taken & patch).any()]
        if patch.any() and sum(anomaly.area_cm2 for anomaly in there) < _HIDDEN * suspect.area_cm2:
            anomalies = [anomaly for anomaly in anomalies if anomaly not in there]
            anomalies.append(Anomaly(suspect.colour, patch, patch, suspect.area_cm2, suspect.score))
    # For all of them: along the outline the map was filled from further in, over what was taken away there.
    mycelium = seen.mycelium.copy()
    for anomaly in anomalies:
        mycelium[anomaly.taken] = np.minimum(mycelium[anomaly.taken], 0.5)
    return replace(seen, mycelium=mycelium, anomalies=tuple(sorted(anomalies, key=lambda anomaly: -anomaly.area_cm2)))


def _before_growth(one: SeriesFace, spec: VesselSpec) -> bool:
    """Whether a face was taken so soon after inoculation that what little seems to be mycelium is glare or film."""
    return one.phase == 0 and one.days < kind_of(spec).bare_until_days and (one.reading.percent or 0.0) < _BARE_PERCENT


def _bare(look: _Look) -> _Look:
    return replace(look, seen=replace(look.seen, mycelium=look.seen.mycelium * np.float32(_LEFT_OF_IT)))


def _without_old_colours(looks: Sequence[_Look]) -> list[_Look]:
    """The looks without patches that were there in the vessel's first days and have not grown: they are no mould.

    Tape, a chip, a coloured light: there before a mould can show colour, in its place, of its size. Only where a label
    ties a spot of the vessel to a place in the frame, and where the first photo is early enough.
    """
    first = looks[0]
    old = first.seen.anomalies
    if not first.one.face.labelled or first.one.days > _TOO_EARLY_DAYS:
        return list(looks)
    kept = []
    for look in looks:
        fresh = tuple(
            anomaly
            for anomaly in look.seen.anomalies
            if not _is_old(anomaly, old, look) and not _had_the_colour(anomaly, look, first)
        )
        kept.append(replace(look, seen=replace(look.seen, anomalies=fresh)))
    return kept


def _is_old(anomaly: Anomaly, old: Sequence[Anomaly], look: _Look) -> bool:
    reach = round(_SAME_SPOT_MM * look.one.face.px_per_mm)
    rows, columns = np.nonzero(anomaly.mask)
    for before in old:
        if before.mask.shape != anomaly.mask.shape or anomaly.area_cm2 > _GROWN * before.area_cm2:
            continue
        near = cv2.distanceTransform(1 - before.mask.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_3)
        if float((near[rows, columns] <= reach).mean()) > 0.5:
            return True
    return False


def _had_the_colour(anomaly: Anomaly, look: _Look, first: _Look) -> bool:
    """Whether the spot of a patch had its colour in the first photo too: a tag, or straw, that stood out less then."""
    if look is first or look.one.face.rgb.shape != first.one.face.rgb.shape:
        return False
    spots = anomaly.mask & first.inside
    if not spots.any():
        return False
    now, then = (np.median(to_lab(lit_again(one.one.face.rgb).light())[spots], axis=0) for one in (look, first))
    coloured = min(float(np.hypot(*lab[1:])) for lab in (now, then)) > _COLOURED
    return coloured and float(np.hypot(*(now - then)[1:])) < _SAME_COLOUR


def _agree_over_days(looks: Sequence[_Look]) -> list[_Look]:
    """The looks with each phase's maps made to agree that mycelium stays."""
    agreed = list(looks)
    for phase in {look.one.phase for look in looks}:
        which = [i for i, look in enumerate(looks) if look.one.phase == phase]
        if len(which) < 2:
            continue
        scale = looks[which[0]].one.face.px_per_mm
        kept = [_near_suspects(looks[i]) for i in which]
        maps = steady_growth(
            [looks[i].seen.mycelium for i in which],
            [looks[i].inside & ~looks[i].seen.veiled & ~near for i, near in zip(which, kept, strict=True)],
            scale,
        )
        for i, near, steady in zip(which, kept, maps, strict=True):
            mycelium = np.where(near, looks[i].seen.mycelium, steady)
            agreed[i] = replace(looks[i], seen=replace(looks[i].seen, mycelium=mycelium))
    return agreed


def _near_suspects(look: _Look) -> NDArray[np.bool_]:
    """True around suspects: a mould takes mycelium back, and its young edge has no colour yet."""
    near = np.zeros(look.inside.shape, np.uint8)
    for anomaly in look.seen.anomalies:
        near |= anomaly.mask.astype(np.uint8)
    if not near.any():
        return near > 0
    reach = round(_MOULD_EDGE_MM * look.one.face.px_per_mm)
    return np.asarray(cv2.distanceTransform(1 - near, cv2.DIST_L2, cv2.DIST_MASK_3) <= reach)


def _fill(look: _Look) -> MeasuredVessel:
    reading = replace(look.one.reading, flags=tuple(flag for flag in look.one.reading.flags if flag != "much_hidden"))
    return fill_reading(
        reading, look.one.face, look.seen, look.inside, look.label, cut_share=look.cut_share, alone=False
    )


def _first_baseline(faces: Sequence[SeriesFace]) -> Baseline | None:
    first = faces[0]
    if (first.reading.percent or 0.0) > BARE_FIRST_PERCENT:
        return None
    return learn_baseline(
        lit_again(first.face.rgb).light(), first.face.classes_alone == BARE, referenced=first.face.labelled
    )


def _mates_baseline(mates: Sequence[Face]) -> Baseline | None:
    """The middle of what the bare faces of a batch show, if labels make them comparable."""
    looks = [
        learned
        for face in mates
        if face.labelled
        and (learned := learn_baseline(lit_again(face.rgb).light(), face.classes_alone == BARE)) is not None
    ]
    if not looks:
        return None
    centres = np.median([one.log_rgb for one in looks], axis=0)
    spreads = np.median([one.spread for one in looks], axis=0)
    return Baseline(as_triple(centres), as_triple(spreads), referenced=True)


def _outlines(faces: Sequence[SeriesFace], spec: VesselSpec) -> list[NDArray[np.bool_]]:
    """The outline of each face: as its photo shows it, but dishes of one size, and no bag or block that strays far."""
    outlines = [one.face.classes_alone > 0 for one in faces]
    labelled = [i for i, one in enumerate(faces) if one.face.labelled]
    if spec.kind != "plate":
        for i in labelled:
            face = faces[i].face
            outlines[i] = with_cut_off(outlines[i], seen_part(face), usual_sides(spec), face.px_per_mm)
    if len(labelled) < 2:
        return outlines
    if kind_of(spec).label_place == "on_face" and _same_frame(faces):
        return _without_strays(outlines)
    if spec.kind == "plate":
        sized = _of_usual_size([faces[i].face for i in labelled], spec)
        for i in labelled:
            picture, scale = lit_again(faces[i].face.rgb), faces[i].face.px_per_mm
            outlines[i], _ = find_dish(sized, picture, scale, size_spread=_SAME_SIZE)
    return outlines


def _without_strays(outlines: list[NDArray[np.bool_]]) -> list[NDArray[np.bool_]]:
    """Outlines in one frame, those that have little in common with what most say replaced by that."""
    usual = np.mean(outlines, axis=0) > 0.5
    shared = [float((one & usual).sum()) / max(1, int((one | usual).sum())) for one in outlines]
    return [one if share > _STRAYED else usual for one, share in zip(outlines, shared, strict=True)]


def _of_usual_size(faces: Sequence[Face], spec: VesselSpec) -> VesselSpec:
    """The plate with the median diameter of its agar in the photos, each read alone."""
    seen = []
    for face in faces:
        surface = (face.classes_alone > 0) & (face.classes_alone != LABEL)
        rows, columns = np.nonzero(surface.any(axis=1))[0], np.nonzero(surface.any(axis=0))[0]
        seen.append((columns[-1] - columns[0] + rows[-1] - rows[0]) / 2)
    return replace(spec, diameter_mm=float(np.median(seen)) / faces[0].px_per_mm)
