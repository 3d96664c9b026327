"""Print the error of readings by scene and kind, single and in series, compared with Otsu's threshold and k-means.

    python -m benchmarks.accuracy SCENES [--without] [--page DIR]

SCENES is a folder of scenes with truth (photos, masks, truth.json, vessels.csv), or one of them. ``--without`` repeats
the measurement with one step left out at a time. ``--page`` writes a page of overlays that compare the truth with the
reading of every photo.
"""

import argparse
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any
from unittest.mock import patch

import cv2
import numpy as np

import vision.days.series
import vision.photo.measure
from benchmarks.accuracy.page import write_page
from benchmarks.accuracy.rivals import otsu_percent, two_colours_percent
from benchmarks.accuracy.scenes import Result, find_scenes, mycelium_overlap, read_scene
from farm.study.agreement_stats import concordance
from vision.records import Face, MeasuredVessel

COLUMNS = f"{'':28}{'read':>9}{'error':>8}{'95 %':>8}{'bias':>8}{'concord.':>10}{'held':>7}{'width':>7}{'IoU':>7}"


def agreement(one: Sequence[float], other: Sequence[float]) -> float:
    """Lin's concordance; NaN if neither has any spread."""
    estimate = concordance(one, other)
    return float("nan") if estimate is None else estimate.value


def row(name: str, results: Sequence[Result], pick: Callable[[Result], MeasuredVessel | None]) -> str:
    """A row of the table for the readings that ``pick`` selects from the results."""
    read = [(one.case, kept) for one in results if (kept := pick(one)) is not None]
    if not read:
        return f"{name:28}{0:>5}/{len(results):<3}"
    true = [case.percent for case, _ in read]
    said = [kept.reading.percent or 0.0 for _, kept in read]
    wrong = np.array(said) - np.array(true)
    low = np.array([kept.reading.percent_low for _, kept in read], float)
    high = np.array([kept.reading.percent_high for _, kept in read], float)
    overlaps = [share for case, kept in read if (share := mycelium_overlap(kept, case)) is not None]
    return (
        f"{name:28}{len(read):>5}/{len(results):<3}{np.abs(wrong).mean():>8.2f}{np.quantile(np.abs(wrong), 0.95):>8.2f}"
        f"{wrong.mean():>+8.2f}{agreement(true, said):>10.4f}{np.mean((low <= true) & (high >= true)):>7.2f}"
        f"{np.median(high - low):>7.1f}{np.mean(overlaps) if overlaps else float('nan'):>7.3f}"
    )


def rival_row(name: str, results: Sequence[Result], percent: Callable[[Face], float]) -> str:
    """A row for a rule that gives only a percent, applied to the same faces."""
    faces = [(one.case.percent, one.alone.face) for one in results if one.alone is not None and one.alone.face]
    true = [known for known, _ in faces]
    said = [percent(face) for _, face in faces]
    wrong = np.abs(np.array(said) - true)
    return f"{name:28}{len(faces):>5}/{len(results):<3}{wrong.mean():>8.2f}{np.quantile(wrong, 0.95):>8.2f}" + (
        f"{np.mean(np.array(said) - true):>+8.2f}{agreement(true, said):>10.4f}"
    )


@contextmanager
def without(step: str) -> Iterator[None]:
    """Leave one step of the measurement out."""
    nothing: dict[str, AbstractContextManager[Any]] = {
        "colour correction": patch.object(vision.photo.measure, "white_at_label", lambda *_: None),
        "bare substrate": patch.object(vision.days.series, "_first_baseline", lambda _: None),
        "outlines over days": patch.object(
            vision.days.series, "_outlines", lambda faces, _: [one.face.classes_alone > 0 for one in faces]
        ),
        "agreement over days": patch.object(
            vision.days.series, "_without_lost_mycelium", lambda day_faces: list(day_faces)
        ),
        "bare before growth shows": patch.object(vision.days.series, "_before_growth", lambda *_: False),
    }
    with nothing[step]:
        yield


STEPS = ("colour correction", "bare substrate", "outlines over days", "agreement over days", "bare before growth shows")


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("scenes", type=Path)
    parser.add_argument("--without", action="store_true", help="repeat with each step left out")
    parser.add_argument("--page", type=Path, help="folder for a page of overlays")
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    scenes = find_scenes(arguments.scenes)
    everything: list[Result] = []
    print(COLUMNS)
    for scene in scenes:
        results = read_scene(scene)
        everything += results
        print(row(f"{scene.name} alone", results, lambda one: one.alone))
        print(row(f"{scene.name} series", results, lambda one: one.series))
        if any(one.alone for one in results):
            print(rival_row(f"{scene.name} Otsu", results, otsu_percent))
            print(rival_row(f"{scene.name} k-means", results, two_colours_percent), flush=True)
    for kind in sorted({one.case.kind for one in everything}):
        print(row(f"all of kind {kind}", [one for one in everything if one.case.kind == kind], lambda one: one.series))
    print(row("all alone", everything, lambda one: one.alone))
    print(row("all series", everything, lambda one: one.series))
    if arguments.page:
        print(f"page: {write_page(everything, arguments.page)}")
    for step in STEPS if arguments.without else ():
        with without(step):
            less = [one for scene in scenes for one in read_scene(scene)]
        print(row(f"without {step}"[:28], less, lambda one: one.series), flush=True)


if __name__ == "__main__":
    main()
