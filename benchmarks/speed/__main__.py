"""Measure how long one photo and the start of the command take, compared with simple tasks.

    python -m benchmarks.speed [PHOTOS] [--rounds N] [--megapixels 12]

PHOTOS is a folder of photos (.jpg) with at least eight labelled bags in all of them; sample_images' own without it.
Eight of them are put into one picture. Its reading (load_picture and measure_photo) and the decoding of the same
JPEG by OpenCV are timed alternately, on one thread, in processor time of this process, which depends little on other
load; medians over the rounds. Then the start of the command, in processor time, on a farm of 300 invented vessels.
"""

import argparse
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

import cv2
import numpy as np

from benchmarks.speed.picture import COLUMNS, ROWS, compose
from benchmarks.speed.rival import shares_in_boxes
from benchmarks.speed.start import time_starts
from benchmarks.speed.steps import REST, STEPS, time_steps
from vision.photo import measure_photo
from vision.pixels import load_picture
from vision.records import PhotoContext

SAMPLES = Path(__file__).parents[2] / "sample_images" / "photos" / "bags"


def seconds(work: Callable[[], object]) -> float:
    """Processor time of one call."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def time_photo(photo: Path, context: PhotoContext, rounds: int) -> None:
    """Print decoding, reading and the full-frame script side by side, and the reading step by step."""
    content = np.fromfile(photo, np.uint8)

    def read() -> list[tuple[int, int, int, int]]:
        measured = measure_photo(load_picture(photo).rgb, context)
        return [one.reading.face_box for one in measured if one.reading.status == "ok" and one.reading.face_box]

    boxes = read()  # loads the network too
    assert len(boxes) == COLUMNS * ROWS, f"{len(boxes)} vessels read"
    peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 ** (2 if sys.platform == "darwin" else 1)
    works: dict[str, Callable[[], object]] = {
        "decode the JPEG (OpenCV)": lambda: cv2.imdecode(content, cv2.IMREAD_COLOR),
        "whole reading": read,
        "full-frame script": lambda: shares_in_boxes(photo, boxes),
    }
    taken: dict[str, list[float]] = {name: [] for name in works}
    steps: list[dict[str, float]] = []
    for _ in range(rounds):
        for name, work in works.items():
            taken[name].append(seconds(work))
        steps.append(time_steps(photo, context))
    middle = {name: median(times) for name, times in taken.items()}
    decode = middle["decode the JPEG (OpenCV)"]
    print(f"{photo.stat().st_size / 1e6:.1f} MB, {len(boxes)} vessels, {rounds} rounds; peak memory {peak_mib:.0f} MiB")
    print(f"{'':30}{'ms':>8}{'of decoding':>13}")
    rows = [*middle.items(), *((name, median(one.get(name, 0.0) for one in steps)) for name in _names())]
    for name, value in rows:
        print(f"{name:30}{1e3 * value:>8.1f}{value / decode:>13.2f}")
    assert {name for one in steps for name in one} <= set(_names())


def _names() -> list[str]:
    return [*(name for name, _, _ in STEPS), REST]


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photos", type=Path, nargs="?", default=SAMPLES)
    parser.add_argument("--rounds", type=int, default=15)
    parser.add_argument("--megapixels", type=int, default=12)
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    width = round((arguments.megapixels * 1e6 * 4 / 3) ** 0.5)
    with TemporaryDirectory() as folder:
        photo = Path(folder) / "shelf.jpg"
        content, context = compose(arguments.photos, width, width * 3 // 4)
        photo.write_bytes(content)
        time_photo(photo, context, arguments.rounds)
        starts = time_starts(_farm(Path(folder) / "farm"), arguments.rounds)
    print(f"\n{'':30}{'s':>8}{'of numpy':>13}")
    for name, value in starts.items():
        print(f"{name:30}{value:>8.2f}{value / starts['import numpy']:>13.1f}")


def _farm(folder: Path) -> Path:
    from benchmarks.scale.big_farm import make_big_farm

    make_big_farm(folder, 300, 10)
    return folder


if __name__ == "__main__":
    main()
