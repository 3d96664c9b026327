"""Read the faces of one vessel again as a series: consistent outlines, and the bare substrate of its first photo."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import vessel_kinds
from vision.days.monotone_growth import monotone_growth
from vision.face import find_dish, pixels_in_photo, usual_sides, with_cut_off
from vision.pixels import linear_from_saved, to_lab
from vision.records import BARE, LABEL, Face, MeasuredVessel, Reading, VesselSpec, kind_of
from vision.surface import (
    Baseline,
    FaceSegmentation,
    SuspectPatch,
    as_triple,
    fill_reading,
    learn_baseline,
    segment_within,
    suspect_mask,
)

#: A first photo with more than this colonised is not used to learn the bare substrate.
BARE_FIRST_PERCENT = 12.0
#: Flag of a reading that differs from what its photo alone says.
SERIES_DIFFERS = "series_differs"
#: An outline whose intersection over union with the majority outline is below this is replaced by it.
_MIN_OUTLINE_IOU = 0.8
#: A photo from the days before growth is visible, yet with more than this colonised, was probably taken later than the
#: records say.
_BARE_PERCENT = 3.0
#: Factor on the probability of mycelium before growth is visible.
_BEFORE_GROWTH_FACTOR = 0.05
#: Spread of a dish's size between its own photos, as a share of the spread between dishes.
_SAME_SIZE = 0.25
#: Width of a young mould's colourless edge.
_MOULD_EDGE_MM = 15.0
#: A patch is at the place of an older one if most of it lies within this distance, and has grown if it is larger by
#: this factor.
_SAME_SPOT_MM, _GROWN = 8.0, 2.0
#: If the series shows less than this share of a patch that the single photo showed, the single photo's patch is used.
_HIDDEN = 0.5
#: Chroma above which a patch counts as coloured, and largest distance of two equal colours in the a*b* plane (CIE Lab
#: 1976) and in lightness. Lightness decides only where nothing stood out before: translucent tape brightens as the
#: mycelium behind it whitens.
_COLOURED, _SAME_COLOUR, _SAME_LIGHTNESS = 20.0, 12.0, 12.0
#: Width of the surroundings that a patch must have stood out from, mm.
_AROUND_MM = 6.0
#: No mould shows its colour earlier than this many days after inoculation (common practice, no source).
_TOO_EARLY_DAYS = 2.0


@dataclass(frozen=True, eq=False)
class SeriesFace:
    """One saved face of a vessel: days since inoculation, the face, the reading of its single photo, and its phase.

    phase: number of shakes before it; growth does not decrease within a phase.
    """

    days: float
    face: Face
    reading: Reading
    phase: int


def read_series(
    faces: Sequence[SeriesFace], spec: VesselSpec, mates: Sequence[Face] = ()
) -> tuple[MeasuredVessel, ...]:
    """Readings and class maps of one vessel's faces, given in order of time, each using what the others show.

    mates: bare first faces of other vessels of its batch on the same substrate. They give the colour of the bare
    substrate if the vessel's own first photo came too late.
    """
    readable = [one for one in faces if one.reading.status == "ok"]
    if not readable or (len(readable) < 2 and not mates and not _before_growth(readable[0], spec)):
        return tuple(MeasuredVessel(one.reading, one.face) for one in faces)
    baseline = _first_baseline(readable) or _mates_baseline(mates)
    day_faces = [
        _segment(one, spec, baseline, outline) for one, outline in zip(readable, _outlines(readable, spec), strict=True)
    ]
    day_faces = _without_old_colours(
        [_reduced_to_bare(day) if _before_growth(day.one, spec) else day for day in day_faces]
    )
    if kind_of(spec).label_place == "on_face" and _same_frame(readable):
        day_faces = _without_lost_mycelium(day_faces)
    read = {id(day.one): _fill(day) for day in day_faces}
    return tuple(read.get(id(one), MeasuredVessel(one.reading, one.face)) for one in faces)


def _same_frame(faces: Sequence[SeriesFace]) -> bool:
    """Whether a point of the vessel has the same pixel in all faces: all are labelled and of one shape."""
    return all(one.face.labelled and one.face.rgb.shape == faces[0].face.rgb.shape for one in faces)


@dataclass(frozen=True, eq=False)
class _DayFace:
    """One face segmented within its series: its surface, label, segmentation, and the share cut off by the photo."""

    one: SeriesFace
    inside: NDArray[np.bool_]
    label: NDArray[np.bool_]
    seen: FaceSegmentation
    cut_share: float


def _segment(one: SeriesFace, spec: VesselSpec, baseline: Baseline | None, outline: NDArray[np.bool_]) -> _DayFace:
    face = one.face
    label = face.classes_alone == LABEL
    in_photo = pixels_in_photo(face)
    inside = outline & ~label & in_photo
    seen = _with_suspects_alone(segment_within(spec, face, linear_from_saved(face.rgb), inside, baseline=baseline), one)
    return _DayFace(one, inside, label, seen, float((outline & ~in_photo).sum() / max(1, outline.sum())))


def _with_suspects_alone(seen: FaceSegmentation, one: SeriesFace) -> FaceSegmentation:
    """The segmentation with patches restored that the single photo showed and the series does not.

    With the bare substrate known, a mould over most of a face, or of the substrate's colour, can be mistaken for it.
    """
    patches = list(seen.suspects)
    for suspect in one.reading.suspects:
        mask = suspect_mask(suspect, one.face, one.face.classes_alone)
        there = [patch for patch in patches if (patch.taken & mask).any()]
        if mask.any() and sum(patch.area_cm2 for patch in there) < _HIDDEN * suspect.area_cm2:
            patches = [patch for patch in patches if patch not in there]
            patches.append(SuspectPatch(suspect.colour, mask, mask, suspect.area_cm2, suspect.score))
    # Repeated for all patches, because the strip along the outline was copied from further inside.
    mycelium = seen.mycelium.copy()
    for patch in patches:
        mycelium[patch.taken] = np.minimum(mycelium[patch.taken], 0.5)
    return replace(seen, mycelium=mycelium, suspects=tuple(sorted(patches, key=lambda patch: -patch.area_cm2)))


def _before_growth(one: SeriesFace, spec: VesselSpec) -> bool:
    """Whether a face was photographed so early that the little apparent mycelium must be glare or film."""
    return one.phase == 0 and one.days < kind_of(spec).bare_until_days and (one.reading.percent or 0.0) < _BARE_PERCENT


def _reduced_to_bare(day: _DayFace) -> _DayFace:
    return replace(day, seen=replace(day.seen, mycelium=day.seen.mycelium * np.float32(_BEFORE_GROWTH_FACTOR)))


def _without_old_colours(day_faces: Sequence[_DayFace]) -> list[_DayFace]:
    """The faces without patches that were present in the vessel's first days and have not grown.

    Tape, a chip or a coloured light is visible before a mould can show colour, and keeps its place and size. Applied
    only if a label fixes the position of the face, and if the first photo is early enough.
    """
    first = day_faces[0]
    old = first.seen.suspects
    if not first.one.face.labelled or first.one.days > _TOO_EARLY_DAYS:
        return list(day_faces)
    kept = []
    for day in day_faces:
        fresh = tuple(
            suspect
            for suspect in day.seen.suspects
            if not _is_old(suspect, old, day) and not _had_the_colour(suspect, day, first)
        )
        kept.append(replace(day, seen=replace(day.seen, suspects=fresh)))
    return kept


def _is_old(suspect: SuspectPatch, old: Sequence[SuspectPatch], day: _DayFace) -> bool:
    reach = round(_SAME_SPOT_MM * day.one.face.px_per_mm)
    rows, columns = np.nonzero(suspect.mask)
    for before in old:
        if before.mask.shape != suspect.mask.shape or suspect.area_cm2 > _GROWN * before.area_cm2:
            continue
        near = cv2.distanceTransform(1 - before.mask.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_3)
        if float((near[rows, columns] <= reach).mean()) > 0.5:
            return True
    return False


def _had_the_colour(suspect: SuspectPatch, day: _DayFace, first: _DayFace) -> bool:
    """Whether a patch had its colour in the first photo already, as a tag or straw that stood out less then.

    If its lightness has changed, it must have stood out then: brown grain that turns orange changes more in lightness
    than in hue, but looked like the grain around it before.
    """
    if day is first or day.one.face.rgb.shape != first.one.face.rgb.shape:
        return False
    spots = suspect.mask & first.inside
    if not spots.any():
        return False
    before = to_lab(linear_from_saved(first.one.face.rgb).light())
    then = np.median(before[spots], axis=0)
    now = np.median(to_lab(linear_from_saved(day.one.face.rgb).light())[spots], axis=0)
    if min(_chroma(now), _chroma(then)) <= _COLOURED or _chroma(now - then) >= _SAME_COLOUR:
        return False
    if abs(now[0] - then[0]) <= _SAME_LIGHTNESS:
        return True
    reach = 2 * round(_AROUND_MM * first.one.face.px_per_mm) + 1
    near = cv2.dilate(suspect.mask.astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0
    around = near & first.inside & ~suspect.mask
    return bool(around.any()) and _chroma(np.median(before[around], axis=0) - then) > _chroma(now - then)


def _chroma(lab: NDArray[np.floating]) -> float:
    """Length of a colour (L, a, b), or of a difference of two, in the a*b* plane."""
    return float(np.hypot(lab[1], lab[2]))


def _without_lost_mycelium(day_faces: Sequence[_DayFace]) -> list[_DayFace]:
    """The faces with mycelium that never disappears within a phase."""
    agreed = list(day_faces)
    for phase in {day.one.phase for day in day_faces}:
        which = [i for i, day in enumerate(day_faces) if day.one.phase == phase]
        if len(which) < 2:
            continue
        scale = day_faces[which[0]].one.face.px_per_mm
        kept = [_near_suspects(day_faces[i]) for i in which]
        maps = monotone_growth(
            [day_faces[i].seen.mycelium for i in which],
            [day_faces[i].inside & ~day_faces[i].seen.veiled & ~near for i, near in zip(which, kept, strict=True)],
            scale,
        )
        for i, near, steady in zip(which, kept, maps, strict=True):
            mycelium = np.where(near, day_faces[i].seen.mycelium, steady)
            agreed[i] = replace(day_faces[i], seen=replace(day_faces[i].seen, mycelium=mycelium))
    return agreed


def _near_suspects(day: _DayFace) -> NDArray[np.bool_]:
    """True around suspects, where mould replaces mycelium and its young edge has no colour yet."""
    near = np.zeros(day.inside.shape, np.uint8)
    for suspect in day.seen.suspects:
        near |= suspect.mask.astype(np.uint8)
    if not near.any():
        return near > 0
    reach = round(_MOULD_EDGE_MM * day.one.face.px_per_mm)
    return np.asarray(cv2.distanceTransform(1 - near, cv2.DIST_L2, cv2.DIST_MASK_3) <= reach)


def _fill(day: _DayFace) -> MeasuredVessel:
    alone = day.one.reading
    reading = replace(alone, flags=tuple(flag for flag in alone.flags if flag not in ("much_hidden", SERIES_DIFFERS)))
    filled = fill_reading(reading, day.one.face, day.seen, day.inside, day.label, cut_share=day.cut_share, alone=False)
    return replace(filled, reading=covering_both(filled.reading, alone))


def covering_both(series: Reading, alone: Reading) -> Reading:
    """The reading from the series; flagged, with bounds that cover both, where it excludes that of its photo alone."""
    low, high = series.percent_low, series.percent_high
    if low is None or high is None or alone.percent_low is None or alone.percent_high is None:
        return series
    if low <= alone.percent_high and alone.percent_low <= high:
        return series
    bounds = min(low, alone.percent_low), max(high, alone.percent_high)
    return replace(series, percent_low=bounds[0], percent_high=bounds[1], flags=(*series.flags, SERIES_DIFFERS))


def _first_baseline(faces: Sequence[SeriesFace]) -> Baseline | None:
    first = faces[0]
    if (first.reading.percent or 0.0) > BARE_FIRST_PERCENT:
        return None
    return learn_baseline(
        linear_from_saved(first.face.rgb).light(), first.face.classes_alone == BARE, referenced=first.face.labelled
    )


def _mates_baseline(mates: Sequence[Face]) -> Baseline | None:
    """The median baseline of a batch's bare faces, using only those with a label."""
    learned_baselines = [
        learned
        for face in mates
        if face.labelled
        and (learned := learn_baseline(linear_from_saved(face.rgb).light(), face.classes_alone == BARE)) is not None
    ]
    if not learned_baselines:
        return None
    centres = np.median([one.log_rgb for one in learned_baselines], axis=0)
    spreads = np.median([one.spread for one in learned_baselines], axis=0)
    return Baseline(as_triple(centres), as_triple(spreads), referenced=True)


def _outlines(faces: Sequence[SeriesFace], spec: VesselSpec) -> list[NDArray[np.bool_]]:
    """The outline of each face from its photo; photos of a dish share one size, and outliers on bags are replaced."""
    outlines = [one.face.classes_alone > 0 for one in faces]
    labelled = [i for i, one in enumerate(faces) if one.face.labelled]
    if not vessel_kinds()[spec.kind].is_dish:
        for i in labelled:
            face = faces[i].face
            outlines[i] = with_cut_off(outlines[i], pixels_in_photo(face), usual_sides(spec), face.px_per_mm)
    if len(labelled) < 2:
        return outlines
    if kind_of(spec).label_place == "on_face" and _same_frame(faces):
        return _without_strays(outlines)
    if vessel_kinds()[spec.kind].is_dish:
        sized = _of_usual_size([faces[i].face for i in labelled], spec)
        for i in labelled:
            picture, scale = linear_from_saved(faces[i].face.rgb), faces[i].face.px_per_mm
            outlines[i], _ = find_dish(sized, picture, scale, size_spread=_SAME_SIZE)
    return outlines


def _without_strays(outlines: list[NDArray[np.bool_]]) -> list[NDArray[np.bool_]]:
    """Outlines in one frame, with outliers replaced by the majority outline."""
    usual = np.mean(outlines, axis=0) > 0.5
    shared = [float((one & usual).sum()) / max(1, int((one | usual).sum())) for one in outlines]
    return [one if share > _MIN_OUTLINE_IOU else usual for one, share in zip(outlines, shared, strict=True)]


def _of_usual_size(faces: Sequence[Face], spec: VesselSpec) -> VesselSpec:
    """The plate with the median diameter of its agar over the single photos."""
    seen = []
    for face in faces:
        surface = (face.classes_alone > 0) & (face.classes_alone != LABEL)
        rows, columns = np.nonzero(surface.any(axis=1))[0], np.nonzero(surface.any(axis=0))[0]
        seen.append((columns[-1] - columns[0] + rows[-1] - rows[0]) / 2)
    return replace(spec, diameter_mm=float(np.median(seen)) / faces[0].px_per_mm)
