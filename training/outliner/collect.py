"""Collect frames to learn outlines from, kept in one folder.

    python -m training.outliner.collect --out DIR [--own DIR ...] [--second DIR ...] [--drawn 600] [--nothing 2000]
        [--textures DIR] [--workers 16]

--own, --second: folders of scenes with truth, by the maker of the scenes. --nothing: number of pictures without a
vessel, made of drawn objects and of the photographs of materials in --textures.
"""

import argparse
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Literal

import numpy as np

from training.kept import keep, read_kept, run_jobs, scene_files
from training.outliner.drawn import draw_frame
from training.outliner.frames import FrameExample, scene_frames
from training.outliner.nothing import no_vessel, read_textures

#: Frames made in one job.
_AT_ONCE = 25


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--own", type=Path, nargs="*", default=[])
    parser.add_argument("--second", type=Path, nargs="*", default=[])
    parser.add_argument("--drawn", type=int, default=600, help="frames drawn without a renderer")
    parser.add_argument("--nothing", type=int, default=2000)
    parser.add_argument("--textures", type=Path)
    parser.add_argument("--workers", type=int, default=1)
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    jobs: list[Callable[[], int]] = []
    for hand, folders in (("own", arguments.own), ("second", arguments.second)):
        jobs += [partial(_keep_scene, truth_file, hand, arguments.out) for truth_file in scene_files(folders)]
    jobs += [partial(_keep_drawn, first, arguments.out) for first in range(0, arguments.drawn, _AT_ONCE)]
    jobs += [
        partial(_keep_nothing, first, arguments.textures, arguments.out)
        for first in range(0, arguments.nothing, _AT_ONCE)
    ]
    print(f"{run_jobs(jobs, arguments.workers)} frames")


def load_kept_frames(folder: Path, *, only: Literal["own", "second"] | None = None) -> list[FrameExample]:
    """The collected frames; only: those of one maker (pictures without a vessel belong to both)."""
    return read_kept(folder, ("",) if only is None else (only, "nothing"))


def _keep_scene(truth_file: Path, hand: str, out: Path) -> int:
    number = int.from_bytes(truth_file.parent.name.encode()[-6:], "big")
    frames = list(scene_frames(truth_file, np.random.default_rng([20261129, number])))
    return keep(frames, out, f"{hand}-{truth_file.parent.name}")


def _keep_drawn(first: int, out: Path) -> int:
    frames = [draw_frame(np.random.default_rng([20261126, 2, first + i])) for i in range(_AT_ONCE)]
    return keep(frames, out, f"own-drawn-{first}")


def _keep_nothing(first: int, textures: Path | None, out: Path) -> int:
    materials = read_textures(textures) if textures else []
    frames = [no_vessel(np.random.default_rng([20261129, 3, first + i]), materials) for i in range(_AT_ONCE)]
    return keep(frames, out, f"nothing-{first}")


if __name__ == "__main__":
    main()
