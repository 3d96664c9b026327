"""Find signs of contamination other than colour, from all photos of a vessel.

- part_stalled: a part of the face that the front should have reached long ago is still bare while the rest grows.
- sharp_front: the front has stopped along a smooth line or curve, as where two cultures inhibit each other.
- wet_patch: in grain, a patch of bare surface has become darker than it was and than the rest of the bare surface.

Each sign must be visible in two consecutive photos. The thresholds were set so that clean vessels of the rendered
scenes show none. That these signs can mean mould or bacteria is common practice, no source.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import substrate_class, vessel_kinds
from vision.days.aligned_maps import (
    ComparedFace,
    Mask,
    away_from,
    box_in_photo,
    common_size,
    compared_face,
    disc,
    same_view,
)
from vision.days.series import SeriesFace
from vision.face import STEEP_SHARE
from vision.pixels import box_of
from vision.records import MeasuredVessel, Sign, VesselSpec, kind_of

PART_STALLED, SHARP_FRONT, WET_PATCH = "part_stalled", "sharp_front", "wet_patch"

#: How many of the last days a photo is compared with, beside the first.
_KEPT_DAYS = 7
#: The speed of the front is measured between photos at least this many days apart, if it took at least this share of
#: the face.
_TIMED_DAYS, _TIMED_SHARE = 0.8, 0.02
#: Least number of speed measurements.
_MIN_PACES = 2
#: A point is overdue if the front, at its usual speed, could have covered its distance this many times, and this many
#: mm more.
_OVERDUE_TIMES, _OVERDUE_MM = 1.7, 8.0
#: Largest overdue part, as a share of the face, and the share of the face that the rest must have grown in the same
#: time. (The smallest, and the shortest stopped front, are in the table of kinds.)
_LARGEST_PART, _STILL_GROWS = 0.3, 0.06
#: A front has stopped if it moved by no more than this, mm, while its speed predicts at least this much.
_STOPPED_MM, _WOULD_HAVE_MM = 1.5, 10.0
#: Largest rms distance of a stopped front from a circle or line, mm.
_SMOOTH_MM = 0.8
#: Wet patch: how much darker (CIELAB L, window mean) it must be than before and than the other bare surface, the
#: window, and the least area of the patch and of bare surface.
_DARKER, _WINDOW_MM, _WET_CM2, _LEAST_BARE_CM2 = 9.0, 9.0, 2.0, 12.0
#: So much beside the vessel is looked at: more than half of any window or disc.
_BESIDE_PX = 10


@dataclass(frozen=True, eq=False)
class SignsPast:
    """What the next photo has to know of the earlier ones: the first and the last days, speeds of the front in the
    present phase (mm per day), and the masks of signs that the last photo showed.
    """

    days: tuple[ComparedFace, ...] = ()
    phase: int = 0
    paces: tuple[float, ...] = ()
    shown: Mapping[str, Mask] = field(default_factory=dict)


def find_signs(
    faces: Sequence[SeriesFace], measured: Sequence[MeasuredVessel], spec: VesselSpec
) -> tuple[MeasuredVessel, ...]:
    """The measured vessels, one per face in order of time, with their signs on the reading and as flags.

    Each photo is compared only with earlier ones.
    """
    past = SignsPast()
    result = []
    for one, seen in zip(faces, measured, strict=True):
        signed, past = signs_of_day(past, one.days, one.phase, seen, spec)
        result.append(signed)
    return tuple(result)


def signs_of_day(
    past: SignsPast, days: float, phase: int, measured: MeasuredVessel, spec: VesselSpec
) -> tuple[MeasuredVessel, SignsPast]:
    """A photo with its signs, and what the next one has to know; a photo without a label is skipped."""
    face = measured.face
    if measured.reading.status != "ok" or face is None or not face.labelled:
        return measured, past
    here = compared_face(days, phase, face, spec, with_light=_may_be_wet(spec))
    if past.days and kind_of(spec).label_place == "on_face" and here.classes.shape != past.days[0].classes.shape:
        return measured, past
    size = common_size([*past.days, here])
    here = here.on_grid(size)
    paces, shown = _compared(
        [one.on_grid(size) for one in past.days], here, past.paces if past.phase == phase else (), spec
    )
    signs = [
        Sign(name, box_in_photo(part, face, spec), round(float(part.sum()) / here.px_per_mm**2 / 100, 2))
        for name, mask in shown.items()
        for part in _parts(mask)
        if name in past.shown and (part & _on_grid(past.shown[name], size)).sum() > 0.3 * part.sum()
    ]
    kept = (*past.days[:1], *past.days[1:][-_KEPT_DAYS:], here)
    after = SignsPast(
        tuple(one if n == 0 else replace(one, lightness=None) for n, one in enumerate(kept)),
        phase,
        paces,
        {name: _widened(mask, 2.0 * _STOPPED_MM * here.px_per_mm) for name, mask in shown.items()},
    )
    if not signs:
        return measured, after
    flags = (*measured.reading.flags, *dict.fromkeys(sign.name for sign in signs))
    return replace(measured, reading=replace(measured.reading, signs=tuple(signs), flags=flags)), after


def _compared(
    earlier: Sequence[ComparedFace], here: ComparedFace, paces: tuple[float, ...], spec: VesselSpec
) -> tuple[tuple[float, ...], dict[str, Mask]]:
    """Speeds of the front with the newest day's, and the mask of each sign; only the vessel is looked at."""
    part = box_of(np.any([one.outline for one in (*earlier, here)], axis=0), _BESIDE_PX)
    before, now = [one.part(part) for one in earlier], here.part(part)
    if before and same_view(before[-1], now) and (pace := _pace_between(before[-1], now)) is not None:
        paces = (*paces, pace)
    shown = {}
    for name, mask in _shown(before, now, paces, spec).items():
        shown[name] = np.zeros(here.classes.shape, bool)
        shown[name][part] = mask
    return paces, shown


def _may_be_wet(spec: VesselSpec) -> bool:
    return substrate_class(spec.substrate) == "grain" and not vessel_kinds()[spec.kind].is_dish


def _on_grid(mask: Mask, size: tuple[int, int]) -> Mask:
    if mask.shape[::-1] == size:
        return mask
    return np.asarray(cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0)


def _shown(
    earlier: Sequence[ComparedFace], here: ComparedFace, paces: Sequence[float], spec: VesselSpec
) -> dict[str, Mask]:
    """Mask of each sign on the newest day."""
    shown: dict[str, Mask] = {}
    usual = vessel_kinds()[spec.kind]
    if _may_be_wet(spec) and earlier:
        shown[WET_PATCH] = _wet_patch(earlier[0], here, round_walls=usual.round_walls)
    alike = [one for one in earlier if same_view(one, here)]
    # The lower median, because new growth that appears elsewhere inflates the speed.
    pace = sorted(paces)[(len(paces) - 1) // 2] if len(paces) >= _MIN_PACES else 0.0
    if pace > 0:
        shown[PART_STALLED] = _part_stalled(alike, here, pace, usual.stalled_part_cm2)
        shown[SHARP_FRONT] = _sharp_front(alike, here, pace, usual.stopped_front_mm)
    return shown


def _pace_between(before: ComparedFace, after: ComparedFace) -> float | None:
    """Speed of the front between two days, mm per day; None if it cannot be measured.

    The points that a straight front passes are spread evenly from 0 to its path, so their median distance is half of
    the path. Where fronts meet, this underestimates the speed.
    """
    taken = after.mycelium & before.bare
    span = after.days - before.days
    if span < _TIMED_DAYS or not before.mycelium.any() or taken.sum() < _TIMED_SHARE * before.outline.sum():
        return None
    return 2.0 * float(np.median(before.away_from_mycelium[taken] / before.px_per_mm)) / span


def _part_stalled(earlier: Sequence[ComparedFace], here: ComparedFace, pace: float, least_cm2: float) -> Mask:
    overdue = np.zeros(here.bare.shape, bool)
    n_mycelium, size = np.count_nonzero(here.mycelium), np.count_nonzero(here.outline)
    for one in earlier:
        could = pace * (here.days - one.days)
        grown = n_mycelium - np.count_nonzero(one.mycelium)
        if could > _OVERDUE_MM and one.mycelium.any() and grown >= _STILL_GROWS * size:
            way = one.away_from_mycelium / one.px_per_mm
            overdue |= (could > _OVERDUE_TIMES * way) & (could > way + _OVERDUE_MM)
    opened = cv2.morphologyEx((overdue & here.bare).astype(np.uint8), cv2.MORPH_OPEN, disc(4.0 * here.px_per_mm))
    part = _large(opened > 0, least_cm2 * 100 * here.px_per_mm**2)
    return part if part.sum() <= _LARGEST_PART * size else np.zeros_like(part)


def _sharp_front(earlier: Sequence[ComparedFace], here: ComparedFace, pace: float, least_mm: float) -> Mask:
    found = np.zeros(here.bare.shape, bool)
    old = next((one for one in reversed(earlier) if pace * (here.days - one.days) >= _WOULD_HAVE_MM), None)
    if old is None:
        return found
    stopped = here.front & (old.away_from_front <= _STOPPED_MM * here.px_per_mm)
    joined = _widened(stopped, here.px_per_mm)
    for part in _parts(joined):
        line = part & stopped
        rows, columns = np.nonzero(line)
        across = float(np.hypot(np.ptp(rows), np.ptp(columns))) if rows.size else 0.0
        if across >= least_mm * here.px_per_mm and _roughness(rows, columns) <= _SMOOTH_MM * here.px_per_mm:
            found |= part
    return found


def _roughness(rows: NDArray[np.intp], columns: NDArray[np.intp]) -> float:
    """Root mean square distance of points from the best fitting circle or line, px.

    Circle: least squares on x2 + y2 + Dx + Ey + F = 0 (Kasa 1976, IEEE Trans. Instrum. Meas. 25: 8-14; from memory).
    """
    x, y = columns - columns.mean(), rows - rows.mean()
    line = float(np.linalg.svd(np.stack([x, y]), compute_uv=False)[1]) / np.sqrt(len(x))
    terms = np.stack([x, y, np.ones_like(x)], axis=1)
    (d, e, f), *_ = np.linalg.lstsq(terms, -(x**2 + y**2), rcond=None)
    radius = np.sqrt(max((d**2 + e**2) / 4 - f, 0.0))
    circle = float(np.sqrt(np.mean((np.hypot(x + d / 2, y + e / 2) - radius) ** 2)))
    return float(min(line, circle))


def _wet_patch(first: ComparedFace, here: ComparedFace, *, round_walls: bool) -> Mask:
    nothing = np.zeros(here.bare.shape, bool)
    both = first.bare & here.bare
    if first.lightness is None or here.lightness is None or both.sum() < _LEAST_BARE_CM2 * 100 * here.px_per_mm**2:
        return nothing
    if round_walls:
        both &= ~_steep(here.outline)
    now, then = (
        _smooth(here.lightness, here.bare, here.px_per_mm),
        _smooth(first.lightness, first.bare, first.px_per_mm),
    )
    change = now - then
    darker = both & (change < np.median(change[both]) - _DARKER) & (now < np.median(now[both]) - _DARKER)
    return _large(darker, _WET_CM2 * 100 * here.px_per_mm**2)


def _smooth(lightness: NDArray[np.uint8], where: Mask, px_per_mm: float) -> NDArray[np.float32]:
    """Mean lightness over a window, using only the points in ``where``."""
    side = round(_WINDOW_MM * px_per_mm) | 1
    weight = cv2.blur(where.astype(np.float32), (side, side))
    masked = lightness.astype(np.float32) * where
    return np.asarray(cv2.blur(masked, (side, side)) / np.maximum(weight, 1e-3), np.float32)


def _steep(outline: Mask) -> Mask:
    """The strips of a round wall that are inclined by more than 60 degrees to the view."""
    steep = np.zeros(outline.shape, bool)
    columns = np.arange(outline.shape[1])
    for row in np.flatnonzero(outline.any(axis=1)):
        here = np.flatnonzero(outline[row])
        middle, half = (here[0] + here[-1]) / 2, (here[-1] - here[0] + 1) / 2
        steep[row] = np.abs(columns - middle) > STEEP_SHARE * half
    return steep


def _widened(mask: Mask, by_px: float) -> Mask:
    return np.asarray(away_from(mask) <= by_px)


def _parts(mask: Mask) -> list[Mask]:
    count, labels = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
    return [labels == label for label in range(1, count)]


def _large(mask: Mask, least_px: float) -> Mask:
    large = np.zeros(mask.shape, bool)
    for part in _parts(mask):
        if part.sum() >= least_px:
            large |= part
    return large
