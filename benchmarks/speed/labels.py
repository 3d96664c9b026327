"""Compare the search for labels at twice a photo's size where a code could be with the search of all of it.

    python -m benchmarks.speed.labels [FOLDER ...] [--drawn N]

FOLDER: photos (.jpg), in sub-folders too; sample_images' own without one. N photos of hard labels are drawn as well:
small, tilted, blurred, dim, noisy, on bare and colonised ground. Printed for each set, in turns in this process:
photos, labels that were found, those read, photos whose labels or corners differ, and processor time of both searches.
"""

import argparse
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from unittest.mock import patch

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks.speed.__main__ import SAMPLES
from calibration import LABELS
from tests.vision.drawn import label_picture, mycelium, substrate
from vision.label import find_labels
from vision.label.labels import Label
from vision.pixels import grey_of, load_picture

_CELL_PX, _FINE_PX_PER_MM, _MODULE_PX = 240, 10.0, (1.3, 4.6)
_MOST_TURNED, _NOISE_LEVELS, _JPEG_QUALITIES = 25.0, (0, 1, 2, 4, 7, 10), (75, 88, 95)

Grey = NDArray[np.uint8]


def hard_photo(draw: np.random.Generator, rows: int, columns: int) -> Grey:
    """A grey photo of rows x columns labels, each with its own size, turn, foreshortening, light, contrast and blur."""
    shape = rows * _CELL_PX, columns * _CELL_PX
    grown = cv2.GaussianBlur(draw.normal(0, 1, shape).astype(np.float32), (0, 0), 40)[..., None] > 0
    photo = np.where(grown, mycelium(*shape), substrate(*shape) * draw.uniform(0.6, 1.6)).astype(np.float32)
    for place in range(rows * columns):
        scale = draw.uniform(*_MODULE_PX) / LABELS["normal"].module_mm / _FINE_PX_PER_MM
        sticker = label_picture(f"H{draw.integers(10**6):06}", _FINE_PX_PER_MM).astype(np.float32)
        light, haze = draw.uniform(0.25, 1.0), draw.uniform(0, 0.25)
        sticker = light * (sticker * (1 - haze) + 250 * haze)
        angle = np.radians(draw.uniform(-_MOST_TURNED, _MOST_TURNED))
        turn = scale * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        turn[:, 1] *= draw.uniform(0.75, 1.0)
        middle = (np.array([place % columns, place // columns]) + 0.5) * _CELL_PX + draw.uniform(-10, 10, 2)
        warp = np.column_stack([turn, middle - turn @ np.array(sticker.shape[1::-1]) / 2])
        soft = cv2.GaussianBlur(sticker, (0, 0), draw.uniform(0.4, 1.1) / scale)
        there = cv2.warpAffine(np.ones_like(soft), warp, shape[::-1])
        photo += np.asarray((cv2.warpAffine(soft, warp, shape[::-1]) - photo) * there, np.float32)
    noisy = np.clip(photo + draw.normal(0, 1, photo.shape) * draw.choice(_NOISE_LEVELS), 0, 255).astype(np.uint8)
    quality = [cv2.IMWRITE_JPEG_QUALITY, int(draw.choice(_JPEG_QUALITIES))]
    return grey_of(np.asarray(cv2.imdecode(cv2.imencode(".jpg", noisy, quality)[1], cv2.IMREAD_COLOR), np.uint8))


def compare(name: str, photos: Iterable[Grey]) -> None:
    """Print what both searches find in some photos, and their times."""
    n_photos = n_found = n_read = n_differ = 0
    seconds = [0.0, 0.0]
    for grey in photos:
        with patch("vision.label.labels.parts_with_codes", return_value=None):
            whole, seconds[0] = _timed(grey, seconds[0])
        parts, seconds[1] = _timed(grey, seconds[1])
        n_photos, n_found = n_photos + 1, n_found + len(whole)
        n_read += sum(label.text is not None for label in whole)
        n_differ += _places(whole) != _places(parts)
    milliseconds = " | ".join(f"{1e3 * one / max(1, n_photos):.1f}" for one in seconds)
    print(f"| {name} | {n_photos} | {n_found} | {n_read} | {n_differ} | {milliseconds} |", flush=True)


def _timed(grey: Grey, before: float) -> tuple[list[Label], float]:
    begun = time.process_time()
    return find_labels(grey), before + time.process_time() - begun


def _places(found: list[Label]) -> list[tuple[str, list[float]]]:
    return sorted((str(one.text), one.code.ravel().tolist()) for one in found)


def _drawn(seed: int, count: int, rows: int, columns: int) -> Iterator[Grey]:
    draw = np.random.default_rng(seed)
    return (hard_photo(draw, rows, columns) for _ in range(count))


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", type=Path, nargs="*", default=[SAMPLES])
    parser.add_argument("--drawn", type=int, default=20, metavar="N")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    print("| photos of | photos | labels | read | differ | all of it, ms | where a code could be, ms |")
    print("|---|---|---|---|---|---|---|")
    for folder in arguments.folders:
        compare(folder.name, (grey_of(load_picture(photo).rgb) for photo in sorted(folder.rglob("*.jpg"))))
    for rows, columns in ((4, 6), (2, 2)):
        compare(f"{rows * columns} drawn labels", _drawn(arguments.seed, arguments.drawn, rows, columns))


if __name__ == "__main__":
    main()
