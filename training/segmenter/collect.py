"""Collect faces to learn from: those of rendered scenes of either hand and drawn ones, kept in one folder.

python -m training.segmenter.collect --out DIR [--own DIR ...] [--second DIR ...] [--drawn 3000] [--strange 600]
[--workers 16]
"""

import argparse
import pickle
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Literal

import cv2
import numpy as np

from training.segmenter.dataset import Example, Hand, drawn_example, scene_example
from training.segmenter.faces import draw_face
from training.segmenter.scenes import load_scene
from training.segmenter.strange import broad_band, strange_ground, strange_substrate

#: Faces drawn in one job.
_AT_ONCE = 20
_STRANGE = (strange_ground, broad_band, strange_substrate)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--own", type=Path, nargs="*", default=[], help="folders of scenes of this project's own hand")
    parser.add_argument("--second", type=Path, nargs="*", default=[], help="folders of scenes of the second hand")
    parser.add_argument("--drawn", type=int, default=3000, help="faces drawn without a renderer")
    parser.add_argument("--strange", type=int, default=600, help="drawn grounds that are no substrate")
    parser.add_argument("--workers", type=int, default=1)
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    jobs: list[Callable[[], int]] = []
    for hand, folders in (("own", arguments.own), ("second", arguments.second)):
        for truth_file in [file for folder in folders for file in sorted(folder.glob("*/truth.json"))]:
            jobs.append(partial(_keep_scene, truth_file, hand, arguments.out))
    for first in range(0, arguments.drawn, _AT_ONCE):
        jobs.append(partial(_keep_drawn, first, arguments.out))
    for first in range(0, arguments.strange, _AT_ONCE):
        jobs.append(partial(_keep_strange, first, arguments.out))
    with ProcessPoolExecutor(arguments.workers) as pool:
        counts = list(pool.map(_run, jobs))
    print(f"{sum(counts)} faces")


def load_examples(folder: Path, *, only: Literal["own", "second"] | None = None) -> list[Example]:
    """The faces that were collected; only: those of one hand (drawn faces are the project's own)."""
    found: list[Example] = []
    for path in sorted(folder.glob("*.pickle")):
        if only is None or path.name.startswith(only):
            found += pickle.loads(path.read_bytes())  # noqa: S301 - our own file
    return found


def _run(job: Callable[[], int]) -> int:
    cv2.setNumThreads(1)
    return job()


def _keep(name: str, examples: Sequence[Example], out: Path) -> int:
    (out / f"{name}.pickle").write_bytes(pickle.dumps(list(examples)))
    return len(examples)


def _keep_scene(truth_file: Path, hand: Hand, out: Path) -> int:
    faces = load_scene(truth_file)
    return _keep(f"{hand}-{truth_file.parent.name}", [scene_example(face, hand) for face in faces], out)


def _keep_drawn(first: int, out: Path) -> int:
    drawn = [draw_face(np.random.default_rng([20260302, first + i])) for i in range(_AT_ONCE)]
    return _keep(f"own-drawn-{first}", [drawn_example(face) for face in drawn], out)


def _keep_strange(first: int, out: Path) -> int:
    drawn = [_STRANGE[i % len(_STRANGE)](np.random.default_rng([20261128, i])) for i in range(first, first + _AT_ONCE)]
    return _keep(f"own-strange-{first}", [drawn_example(face) for face in drawn], out)


if __name__ == "__main__":
    main()
