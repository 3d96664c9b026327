"""Read a vessel's photos one after the other, each with what the earlier ones have shown."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.days.monotone_growth import odds_after, with_earlier
from vision.days.old_colours import lab_of, without_old_colours
from vision.days.outlines import KEPT_OUTLINES, outline_in_series
from vision.days.past import FirstDay, Past, at_compared_scale, old_patches
from vision.face import pixels_in_photo
from vision.pixels import box_of, linear_from_saved
from vision.records import BARE, LABEL, Face, MeasuredVessel, Reading, VesselSpec, kind_of
from vision.surface import (
    Baseline,
    FaceSegmentation,
    SuspectPatch,
    as_triple,
    count_own_colours,
    fill_reading,
    learn_baseline,
    segment_within,
    suspect_mask,
)

#: A first photo with more than this colonised is not used to learn the bare substrate.
BARE_FIRST_PERCENT = 12.0
#: Flag of a reading that differs from what its photo alone says.
SERIES_DIFFERS = "series_differs"
#: Bounds narrower than this count as this wide, points, so that no reading has all the weight.
_LEAST_WIDTH = 0.5
#: A photo from the days before growth is visible, yet with more than this colonised, was probably taken later than the
#: records say.
_BARE_PERCENT = 3.0
#: Factor on the probability of mycelium before growth is visible.
_BEFORE_GROWTH_FACTOR = 0.05
#: Width of a young mould's colourless edge.
_MOULD_EDGE_MM = 15.0
#: If the series shows less than this share of a patch that the single photo showed, the single photo's patch is used.
_HIDDEN = 0.5


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
    """Readings and class maps of one vessel's faces, given in order of time, each using what the earlier ones show.

    mates: bare first faces of other vessels of its batch on the same substrate. They give the colour of the bare
    substrate if the vessel's own first photo came too late.
    """
    past = before_first(mates)
    measured = []
    for one in faces:
        read, past = read_day(past, one, spec)
        measured.append(read)
    return tuple(measured)


def before_first(mates: Sequence[Face] = ()) -> Past:
    """What is known before a vessel's first photo."""
    return Past(has_mates=bool(mates), baseline=_mates_baseline(mates))


def read_day(past: Past, one: SeriesFace, spec: VesselSpec) -> tuple[MeasuredVessel, Past]:
    """A photo's reading and class map, given the earlier photos, and what the next one has to know."""
    if one.reading.status != "ok":
        return MeasuredVessel(one.reading, one.face), past
    if past.n_read == 0:
        past = replace(past, baseline=_own_baseline(one) or past.baseline)
    early = _before_growth(one, spec)
    day = _segment(one, spec, past.baseline, outline_in_series(past, one.face, spec))
    if early:
        day = replace(day, seen=replace(day.seen, mycelium=day.seen.mycelium * np.float32(_BEFORE_GROWTH_FACTOR)))
    first = past.first or _first_day(day)
    suspects = without_old_colours(day.seen.suspects, one.face, first)
    day = replace(day, seen=replace(day.seen, suspects=suspects))
    steady = _with_earlier(past, day, spec)
    is_read_alone = past.n_read == 0 and not past.has_mates and not early
    measured = MeasuredVessel(one.reading, one.face) if is_read_alone else _fill(steady, spec, is_bare=early)
    return measured, _after(past, day, spec, first)


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
        there = [patch for patch in patches if (patch.mask & mask).any()]
        if mask.any() and sum(patch.area_cm2 for patch in there) < _HIDDEN * suspect.area_cm2:
            patches = [patch for patch in patches if patch not in there]
            patches.append(SuspectPatch(suspect.colour, mask, suspect.area_cm2, suspect.score))
    # Repeated for all patches, because the strip along the outline was copied from further inside.
    mycelium = seen.mycelium.copy()
    for patch in patches:
        mycelium[patch.mask] = np.minimum(mycelium[patch.mask], 0.5)
    return replace(seen, mycelium=mycelium, suspects=tuple(sorted(patches, key=lambda patch: -patch.area_cm2)))


def _before_growth(one: SeriesFace, spec: VesselSpec) -> bool:
    """Whether a face was photographed so early that the little apparent mycelium must be glare or film."""
    return one.phase == 0 and one.days < kind_of(spec).bare_until_days and (one.reading.percent or 0.0) < _BARE_PERCENT


def _first_day(day: _DayFace) -> FirstDay:
    face = day.one.face
    inside = at_compared_scale(day.inside, face.px_per_mm)
    return FirstDay(
        day.one.days,
        face.labelled,
        face.rgb.shape[:2],
        inside,
        lab_of(face) * inside[..., None],
        old_patches(day.seen.suspects, face.px_per_mm),
    )


def _with_earlier(past: Past, day: _DayFace, spec: VesselSpec) -> _DayFace:
    """The day with mycelium that never disappears within a phase, where faces lie in one frame."""
    if not _compares(spec) or past.odds is None or past.phase != day.one.phase or not past.same_frame(day.one.face):
        return day
    steady = with_earlier(day.seen.mycelium, past.odds)
    if day.seen.suspects:
        steady = np.where(_near_suspects(day), day.seen.mycelium, steady)
    return replace(day, seen=replace(day.seen, mycelium=steady))


def _after(past: Past, day: _DayFace, spec: VesselSpec, first: FirstDay) -> Past:
    """What the next photo has to know, this day included."""
    face = day.one.face
    after = replace(past, n_read=past.n_read + 1, first=first)
    if not face.labelled:
        return after
    if not _compares(spec):
        return after
    same = past.same_frame(face)
    usable = day.inside & ~day.seen.veiled & ~_near_suspects(day)
    earlier = past.odds if same and past.phase == day.one.phase else None
    outline = at_compared_scale(face.classes_alone > 0, face.px_per_mm)
    return replace(
        after,
        shape=face.rgb.shape[:2],
        outlines=(*(past.outlines if same else ()), outline)[-KEPT_OUTLINES:],
        phase=day.one.phase,
        odds=odds_after(day.seen.mycelium, usable, face.px_per_mm, earlier),
    )


def _compares(spec: VesselSpec) -> bool:
    """Whether a label on the face makes a point of the vessel the same pixel in every photo."""
    return kind_of(spec).label_place == "on_face"


def _near_suspects(day: _DayFace) -> NDArray[np.bool_]:
    """True around suspects, where mould replaces mycelium and its young edge has no colour yet."""
    near = np.zeros(day.inside.shape, bool)
    reach = round(_MOULD_EDGE_MM * day.one.face.px_per_mm)
    for suspect in day.seen.suspects:
        part = box_of(suspect.mask, reach)
        away = cv2.distanceTransform(1 - suspect.mask[part].astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_3)
        near[part] |= away <= reach
    return near


def _fill(day: _DayFace, spec: VesselSpec, *, is_bare: bool) -> MeasuredVessel:
    alone = day.one.reading
    reading = replace(alone, flags=tuple(flag for flag in alone.flags if flag not in ("much_hidden", SERIES_DIFFERS)))
    filled = fill_reading(reading, day.one.face, day.seen, day.inside, day.label, cut_share=day.cut_share, alone=False)
    own_told = count_own_colours(filled, spec)
    return own_told if is_bare else replace(own_told, reading=of_both(own_told.reading, alone))


def of_both(series: Reading, alone: Reading) -> Reading:
    """The series' reading with the mean of what it and its photo alone say, each counted by how narrow its bounds are.

    Weights are inverse squares of the bounds' widths, as of two measurements with known errors (inverse-variance
    weighting, common in statistics; from memory). Bounds are the same mean, for both err on the same picture. Where
    one's bounds exclude the other's, they cover both and the reading is flagged. The photo alone has no weight where it
    counted other colours as the species' own, as after the vessel's species was corrected.
    """
    low, high, percent = series.percent_low, series.percent_high, series.percent
    other_low, other_high, other = alone.percent_low, alone.percent_high, alone.percent
    if low is None or high is None or percent is None or other_low is None or other_high is None or other is None:
        return series
    weight, other_weight = (1 / max(width, _LEAST_WIDTH) ** 2 for width in (high - low, other_high - other_low))
    if _own_colours_of(series) != _own_colours_of(alone):
        other_weight = 0.0

    def mean(value: float, of_other: float) -> float:
        return round((weight * value + other_weight * of_other) / (weight + other_weight), 2)

    if low <= other_high and other_low <= high:
        bounds, flags = (mean(low, other_low), mean(high, other_high)), series.flags
    else:
        bounds, flags = (min(low, other_low), max(high, other_high)), (*series.flags, SERIES_DIFFERS)
    return replace(series, percent=mean(percent, other), percent_low=bounds[0], percent_high=bounds[1], flags=flags)


def _own_colours_of(reading: Reading) -> set[str]:
    return {one.colour for one in reading.suspects if one.own_colour}


def _own_baseline(first: SeriesFace) -> Baseline | None:
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
