"""Print how much readings change with the colours of another camera, without and with a profile of that camera.

    python -m benchmarks.camera SCENES

SCENES is a folder of scenes, as for benchmarks.accuracy. Three invented cameras: one with less
saturated colours (dull), one with more saturated colours (gaudy), and one without any change (plain). The profile of
the plain one would not be stored, but is applied here. Profiles are fitted to a drawn photo of the colour chart, like
`spawnrun calibrate` does. Each photo is measured alone.
"""

import argparse
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from benchmarks.accuracy.scenes import find_scenes
from calibration import CameraProfile
from tests.vision.camera_shot import MIXED, profile_of, retaken
from training.segmenter.scenes import scene_specs
from vision.photo import measure_photo
from vision.pixels import load_picture
from vision.records import PhotoContext

#: Matrices for linear red, green, blue; neutral colours stay neutral.
CAMERAS = {
    "dull": MIXED,
    "gaudy": np.array([[1.34, -0.30, -0.04], [-0.15, 1.33, -0.18], [-0.03, -0.36, 1.39]]),
    "plain": np.eye(3),
}


def percents(rgb: np.ndarray, context: PhotoContext, profile: CameraProfile | None = None) -> dict[str, float]:
    """Percent by vessel, for vessels that have one."""
    measured = measure_photo(rgb, replace(context, profile=profile))
    return {one.reading.vessel: one.reading.percent for one in measured if one.reading.percent is not None}  # type: ignore[misc]


def moves(scene: Path, profiles: dict[str, CameraProfile]) -> Iterator[tuple[str, str, float]]:
    """Camera, "without" or "profile", and the change of each reading in points; NaN if one of the two is missing."""
    truth = json.loads((scene / "truth.json").read_text("utf-8"))
    context = PhotoContext(scene_specs(scene))
    for photo in truth["photos"]:
        rgb = load_picture(scene / photo["file"]).rgb
        plain = percents(rgb, context)
        for name, profile in profiles.items():
            other = retaken(rgb, CAMERAS[name])
            ways = {"without": None, "profile": profile} if name != "plain" else {"profile": profile}
            for way, used in ways.items():
                read = percents(other, context, used)
                for vessel in plain.keys() | read.keys():
                    yield name, way, abs(plain.get(vessel, np.nan) - read.get(vessel, np.nan))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("scenes", type=Path)
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    profiles = {name: profile_of(matrix, name) for name, matrix in CAMERAS.items()}
    for name, profile in profiles.items():
        away = f"{profile.difference_before:.1f}, with its profile {profile.difference_after:.1f}"
        print(f"{name}: mean CIEDE2000 {away}; {'kept' if profile.helps else 'not kept'}")
    print(f"{'':10}{'camera':8}{'':10}{'readings':>9}{'lost':>6}{'mean':>7}{'95 %':>7}{'most':>7}")
    for scene in find_scenes(arguments.scenes):
        if "label_corners" not in (scene / "truth.json").read_text("utf-8"):
            print(f"{scene.name}: skipped, it has no labels")
            continue
        found: dict[tuple[str, str], list[float]] = {}
        for name, way, points in moves(scene, profiles):
            found.setdefault((name, way), []).append(points)
        for (name, way), all_points in found.items():
            finite = np.array([one for one in all_points if np.isfinite(one)])
            lost = len(all_points) - len(finite)
            print(
                f"{scene.name:10}{name:8}{way:10}{len(finite):>9}{lost:>6}{finite.mean():>7.2f}"
                f"{np.quantile(finite, 0.95):>7.2f}{finite.max():>7.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
