"""Collect faces to learn from: those of rendered scenes of either hand and drawn ones, kept in one folder.

    python -m training.segmenter.collect --out DIR [--own DIR ...] [--second DIR ...] [--drawn 3000] [--strange 600]
        [--textures 160] [--materials DIR] [--workers 16]

DIR/textures holds the substrates to lay under growth: drawn ones, and parts of the photographs in --materials.
"""

import argparse
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from training.kept import keep, read_kept, run_jobs, scene_files
from training.segmenter.dataset import Example, Hand, drawn_example, scene_example
from training.segmenter.faces import draw_face
from training.segmenter.outlines import program_outlines
from training.segmenter.scenes import load_scene, scene_specs
from training.segmenter.strange import broad_band, strange_ground, strange_substrate
from training.segmenter.textures import draw_texture, photographed_texture

#: Faces drawn in one job.
_AT_ONCE = 20
#: Textures cut out of each photograph of a material.
_CUTS = 3
#: Share of scenes' faces that are shown within the program's outline, and by how much half of these are loosened, mm.
_BY_PROGRAM, _LOOSENED_MM = 0.7, 3.0
_STRANGE = (strange_ground, broad_band, strange_substrate)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--own", type=Path, nargs="*", default=[], help="folders of scenes of this project's own hand")
    parser.add_argument("--second", type=Path, nargs="*", default=[], help="folders of scenes of the second hand")
    parser.add_argument("--drawn", type=int, default=3000, help="faces drawn without a renderer")
    parser.add_argument("--strange", type=int, default=600, help="drawn grounds that are no substrate")
    parser.add_argument("--textures", type=int, default=160, help="textures to lay under growth, drawn")
    parser.add_argument("--materials", type=Path, help="photographs of materials, cut into more textures")
    parser.add_argument("--workers", type=int, default=1)
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    jobs: list[Callable[[], int]] = []
    scenes: dict[Literal["own", "second"], list[Path]] = {"own": arguments.own, "second": arguments.second}
    for hand, folders in scenes.items():
        jobs += [partial(_keep_scene, truth_file, hand, arguments.out) for truth_file in scene_files(folders)]
    for first in range(0, arguments.drawn, _AT_ONCE):
        jobs.append(partial(_keep_drawn, first, arguments.out))
    for first in range(0, arguments.strange, _AT_ONCE):
        jobs.append(partial(_keep_strange, first, arguments.out))
    (arguments.out / "textures").mkdir(exist_ok=True)
    for first in range(0, arguments.textures, _AT_ONCE):
        jobs.append(partial(_keep_textures, first, arguments.out / "textures"))
    for photograph in sorted(arguments.materials.glob("*.jpg")) if arguments.materials else ():
        jobs.append(partial(_keep_material, photograph, arguments.out / "textures"))
    print(f"{run_jobs(jobs, arguments.workers)} faces")


def load_examples(folder: Path, *, only: Literal["own", "second"] | None = None) -> list[Example]:
    """The faces that were collected; only: those of one hand (drawn faces are the project's own)."""
    return read_kept(folder, ("",) if only is None else (only,))


def load_textures(folder: Path) -> NDArray[np.float16]:
    """The textures that were collected, (count, 4, h, w), see ``draw_texture``."""
    return np.stack(read_kept(folder / "textures"))


def _keep_scene(truth_file: Path, hand: Hand, out: Path) -> int:
    """Faces of a scene within the program's outlines, some of these loosened, or within their true ones."""
    rng = np.random.default_rng([20261201, *truth_file.parent.name.encode()])
    outliner = partial(program_outlines, specs=scene_specs(truth_file.parent), rng=rng)
    examples = []
    for face in load_scene(truth_file, outliner):
        shown = face if rng.random() < _BY_PROGRAM else replace(face, outline=None)
        loose = rng.uniform(0, _LOOSENED_MM) if rng.random() < 0.5 else 0.0
        examples.append(scene_example(shown, hand, loosened_mm=loose))
    return keep(examples, out, f"{hand}-{truth_file.parent.name}")


def _keep_drawn(first: int, out: Path) -> int:
    drawn = [draw_face(np.random.default_rng([20260302, first + i])) for i in range(_AT_ONCE)]
    return keep([drawn_example(face) for face in drawn], out, f"own-drawn-{first}")


def _keep_strange(first: int, out: Path) -> int:
    drawn = [_STRANGE[i % len(_STRANGE)](np.random.default_rng([20261128, i])) for i in range(first, first + _AT_ONCE)]
    return keep([drawn_example(face) for face in drawn], out, f"own-strange-{first}")


def _keep_textures(first: int, out: Path) -> int:
    drawn = [draw_texture(np.random.default_rng([20261125, first + i])) for i in range(_AT_ONCE)]
    keep(drawn, out, f"drawn-{first}")
    return 0


def _keep_material(photograph: Path, out: Path) -> int:
    rng = np.random.default_rng([20261130, *photograph.name.encode()])
    cut = [photographed_texture(rng, photograph) for _ in range(_CUTS)]
    keep(cut, out, f"material-{photograph.stem}")
    return 0


if __name__ == "__main__":
    main()
