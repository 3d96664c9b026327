"""Print which signs other than colour are reported on unchanged scenes, and on the same faces with drawn changes.

    python -m benchmarks.signs SCENES

SCENES is a folder of scenes, as for benchmarks.accuracy. The changes to each vessel's faces are: growth stops in a
box after the first photo that is six days (``CHANGED_DAYS``) or more after the first; growth stops at a slanting line;
in grain, a disc of 8 cm2 of bare surface is darkened to 0.75 or 0.62 of its sRGB levels after the first photo. A change
that would affect almost no pixels is left out.
"""

import argparse
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks.accuracy.scenes import Result, find_scenes, read_scene
from calibration import Kind
from training.segmenter.scenes import scene_specs
from vision.days import SeriesFace, find_signs
from vision.records import BARE, LABEL, MYCELIUM, Face, MeasuredVessel, VesselSpec

CHANGED_DAYS = 6.0
#: Side of the box, mm, and the least growth that must be removed, cm2.
BOX_MM: dict[Kind, float] = {"plate": 25.0, "jar": 40.0}
BOX_MM_ELSE, LEAST_CM2 = 60.0, 2.0
DISC_MM = 16.0
Mask = NDArray[np.bool_]


def surface(face: Face) -> tuple[slice, slice]:
    """Rows and columns of the box around the surface without the label."""
    left, top, width, height = cv2.boundingRect(((face.classes > 0) & (face.classes != LABEL)).astype(np.uint8))
    return slice(top, top + height), slice(left, left + width)


def transferred(mask: Mask, source: Face, target: Face) -> Mask:
    """A mask of one day's face transferred to another day's, scaled from box to box."""
    rows, columns = surface(target)
    size = (columns.stop - columns.start, rows.stop - rows.start)
    found = np.zeros(target.classes.shape, bool)
    found[rows, columns] = cv2.resize(mask[surface(source)].astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    return found


def without_growth(where: Mask, first: Face, face: Face) -> Face:
    """The face with mycelium in the mask made bare again where the first face was bare."""
    back = transferred(where & (first.classes == BARE), first, face) & (face.classes == MYCELIUM)
    return replace(face, classes=np.where(back, BARE, face.classes).astype(np.uint8))


def box(first: Face, last: Face, spec: VesselSpec) -> Mask | None:
    """The box with most growth between two days; None if there is hardly any growth."""
    grown = transferred(last.classes == MYCELIUM, last, first) & (first.classes == BARE)
    side = round(BOX_MM.get(spec.kind, BOX_MM_ELSE) * first.px_per_mm)
    share = cv2.boxFilter(grown.astype(np.float32), -1, (side, side), borderType=cv2.BORDER_CONSTANT)
    row, column = np.unravel_index(int(share.argmax()), share.shape)
    found = np.zeros(grown.shape, bool)
    found[max(0, row - side // 2) : row + side // 2, max(0, column - side // 2) : column + side // 2] = True
    return found if (grown & found).sum() >= LEAST_CM2 * 100 * first.px_per_mm**2 else None


def beyond_a_line(first: Face, last: Face, spec: VesselSpec) -> Mask | None:
    """Everything below a slanting line that halves the growth still to come; None if there is hardly any."""
    del spec
    grown = transferred(last.classes == MYCELIUM, last, first) & (first.classes == BARE)
    if grown.sum() < 2 * LEAST_CM2 * 100 * first.px_per_mm**2:
        return None
    rows, columns = np.indices(grown.shape)
    down = rows + 0.2 * columns
    return np.asarray(down > np.median(down[grown]))


def darkened(where: Mask, first: Face, share: float, face: Face) -> Face:
    """The face with the bare surface in the mask darker."""
    dark = transferred(where, first, face) & (face.classes == BARE)
    rgb = np.where(dark[..., None], face.rgb * share, face.rgb).round().astype(np.uint8)
    return replace(face, rgb=rgb)


def disc(faces: Sequence[Face]) -> Mask | None:
    """A disc of the first face's surface that stays bare in at least the next two photos; None if there is none."""
    first = faces[0]
    for last in range(len(faces) - 1, 1, -1):
        bare = np.logical_and.reduce([transferred(one.classes == BARE, one, first) for one in faces[: last + 1]])
        inner = cv2.distanceTransform(np.pad(bare.astype(np.uint8), 1), cv2.DIST_L2, cv2.DIST_MASK_5)[1:-1, 1:-1]
        row, column = np.unravel_index(int(inner.argmax()), inner.shape)
        if inner[row, column] >= DISC_MM * first.px_per_mm:
            rows, columns = np.indices(bare.shape)
            return np.asarray(np.hypot(rows - row, columns - column) <= DISC_MM * first.px_per_mm)
    return None


def first_days(series: Sequence[SeriesFace], measured: Sequence[MeasuredVessel], spec: VesselSpec) -> dict[str, float]:
    """By sign, the day of the first photo that reports it."""
    days: dict[str, float] = {}
    for one, seen in zip(series, find_signs(series, measured, spec), strict=True):
        for sign in seen.reading.signs:
            days.setdefault(sign.name, one.days)
    return days


def changes(
    measured: Sequence[MeasuredVessel], days: Sequence[float], spec: VesselSpec
) -> Iterator[tuple[str, str, float, list[MeasuredVessel]]]:
    """Name of the change, the sign expected, the day of the first photo that shows it, and the changed faces."""
    faces = [one.face for one in measured if one.face is not None]

    def changed(begins: int, change: Callable[[Face], Face]) -> list[MeasuredVessel]:
        later = [replace(one, face=change(face)) for one, face in zip(measured, faces, strict=True)]
        return [*measured[: begins + 1], *later[begins + 1 :]]

    sixth = next((n for n, day in enumerate(days) if day - days[0] >= CHANGED_DAYS), len(days))
    for what, sign, find, begins in (("box", "part_stalled", box, sixth), ("line", "sharp_front", beyond_a_line, 0)):
        if begins + 2 < len(days) and (where := find(faces[begins], faces[-1], spec)) is not None:
            held = partial(without_growth, where, faces[begins])
            yield what, sign, days[begins + 1], changed(begins, held)
    if "grain" in spec.substrate and spec.kind != "plate" and (where := disc(faces)) is not None:
        for share in (0.75, 0.62):
            yield f"dark disc, {share}", "wet_patch", days[1], changed(0, partial(darkened, where, faces[0], share))


def measure_one(scene: Path) -> Iterator[tuple[str, str, str, float | None]]:
    """Vessel, name of the change ("" for none), the sign, and its day (days after a change); None if not reported."""
    specs = scene_specs(scene)
    by_vessel: dict[str, list[Result]] = {}
    for one in read_scene(scene):
        if one.series is not None and one.series.face is not None:
            by_vessel.setdefault(one.case.vessel, []).append(one)
    for vessel, results in by_vessel.items():
        results.sort(key=lambda one: one.case.taken_hours)
        measured = [one.series for one in results if one.series is not None]
        series = [
            SeriesFace(one.case.taken_hours / 24, one.series.face, one.series.reading, one.phase)
            for one in results
            if one.series is not None and one.series.face is not None
        ]
        plain = first_days(series, measured, specs[vessel])
        yield from ((vessel, "", sign, day) for sign, day in plain.items())
        for what, sign, since, changed in changes(measured, [one.days for one in series], specs[vessel]):
            day = first_days(series, changed, specs[vessel]).get(sign)
            yield vessel, what, sign, None if day is None else day - since


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("scenes", type=Path)
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    for scene in find_scenes(arguments.scenes):
        found: dict[tuple[str, str], list[float | None]] = {}
        for vessel, what, sign, days in measure_one(scene):
            if not what:
                print(f"{scene.name:8} {vessel}: {sign} on day {days:.1f}, without any change")
            else:
                found.setdefault((what, sign), []).append(days)
        for (what, sign), all_days in found.items():
            known = sorted(day for day in all_days if day is not None)
            when = f"{known[0]:.1f} to {known[-1]:.1f} days later" if known else ""
            print(
                f"{scene.name:8} {what:16} {sign:13} reported on {len(known)} of {len(all_days)} vessels {when}",
                flush=True,
            )


if __name__ == "__main__":
    main()
