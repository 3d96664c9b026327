"""How wrong is the segmenter on scenes it never saw, beside Otsu's threshold and two-colour k-means, in one run.

    python -m training.segmenter.compare PHOTOS [--cache FILE] [--faces 3000] [--steps 4000] [--more 800]

PHOTOS holds scenes with truth. Columns: `drawn` was trained on drawn faces alone; `others` was then trained on for
`--more` steps with the faces of all scenes but the one it is judged on; both read each picture with its vessel's first
photo as baseline, `alone` is `others` without. True outlines are given to all. Needs torch.
"""

import argparse
import copy
import pickle
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import torch
from numpy.typing import NDArray

from training.segmenter.dataset import Example, planes_of, scene_example
from training.segmenter.network import FaceNetwork, at_planes_scale
from training.segmenter.rivals import otsu, two_colours
from training.segmenter.scenes import SceneFace, load_scenes
from training.segmenter.train import drawn_examples, train
from vision.surface.segment import VEILED_ABOVE, FaceSegmentation, coverage
from vision.surface.segmenter import decided
from vision.surface.segmenter_input import face_facts, pad_planes, stack_planes

Reader = Callable[[SceneFace], FaceSegmentation]


def by_rule(rule: Callable[[SceneFace], NDArray[np.bool_]]) -> Reader:
    """Make a reader of a rule that says yes or no."""

    def read(face: SceneFace) -> FaceSegmentation:
        yes = rule(face)
        return FaceSegmentation(yes.astype(np.float32), np.zeros_like(yes), ())

    return read


def by_network(network: FaceNetwork, *, alone: bool = False) -> Reader:
    """Make a reader that asks a network; ``alone`` keeps the vessel's first photo from it."""

    def read(face: SceneFace) -> FaceSegmentation:
        example = scene_example(replace(face, baseline=None) if alone else face)
        colonised, veiled = probabilities(network, example)
        size = face.classes.shape[::-1]
        mycelium = cv2.resize(colonised, size, interpolation=cv2.INTER_LINEAR) * face.inside
        hidden = (cv2.resize(veiled, size, interpolation=cv2.INTER_LINEAR) > VEILED_ABOVE) & face.inside
        return FaceSegmentation(mycelium.astype(np.float32), hidden, (), baseline_used=example.baseline is not None)

    return read


def probabilities(network: FaceNetwork, example: Example) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Probabilities that a point is colonised and that it is veiled, at the planes' scale."""
    planes = planes_of(example)
    plate = example.kind == "plate"
    facts = face_facts(planes, plate=plate, baseline=example.baseline, referenced=example.referenced)
    stack = pad_planes(stack_planes(planes, example.baseline))
    network.eval()
    with torch.no_grad():
        answer = network(torch.from_numpy(stack[None]), torch.from_numpy(facts[None, :, None, None]))
    height, width = planes.within.shape
    logits = at_planes_scale(answer)[0, :, :height, :width]
    return decided(torch.softmax(logits[:3], 0)[1].numpy()), torch.sigmoid(logits[4]).numpy()


def judge(faces: list[SceneFace], read: Reader) -> dict[str, float]:
    """Errors in points, intersection over union of the colonised class, and how often and how wide the bounds hold."""
    errors, unions, held, widths = [], [], [], []
    for face in faces:
        found = read(face)
        area = coverage(found, face.inside)
        errors.append(abs(area.percent - face.percent))
        held.append(area.low <= face.percent <= area.high)
        widths.append(area.high - area.low)
        said, true = (found.mycelium > 0.5) & face.inside, face.classes == 2
        if (said | true).sum() > 400:
            unions.append(float((said & true).sum() / (said | true).sum()))
    return {
        "error": float(np.mean(errors)),
        "95 %": float(np.quantile(errors, 0.95)),
        "IoU": float(np.mean(unions)),
        "held %": 100 * float(np.mean(held)),
        "width": float(np.median(widths)),
    }


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photos", type=Path)
    parser.add_argument("--cache", type=Path, help="file that keeps the drawn faces between runs")
    parser.add_argument("--faces", type=int, default=3000)
    parser.add_argument("--steps", type=int, default=4000)
    parser.add_argument("--more", type=int, default=800)
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    faces = load_scenes(arguments.photos)
    if arguments.cache and arguments.cache.exists():
        drawn = pickle.loads(arguments.cache.read_bytes())  # noqa: S301 - our own file
    else:
        drawn = drawn_examples(arguments.faces)
        if arguments.cache:
            arguments.cache.write_bytes(pickle.dumps(drawn))
    torch.manual_seed(0)
    base = FaceNetwork()
    train(base, drawn, arguments.steps, rate=3e-3, rng=np.random.default_rng(0))
    print(f"{'scene':8}{'reader':10}" + "".join(f"{name:>9}" for name in ("error", "95 %", "IoU", "held %", "width")))
    for scene in sorted({face.scene for face in faces}):
        own = [face for face in faces if face.scene == scene]
        others = [scene_example(face) for face in faces if face.scene != scene]
        tuned = copy.deepcopy(base)
        rng = np.random.default_rng(1)
        train(tuned, [*drawn, *others], arguments.more, rate=1e-3, rng=rng, share_of_last=0.4)
        readers = {
            "otsu": by_rule(otsu),
            "k-means": by_rule(two_colours),
            "drawn": by_network(base),
            "others": by_network(tuned),
            "alone": by_network(tuned, alone=True),
        }
        for name, read in readers.items():
            figures = "".join(f"{value:9.2f}" for value in judge(own, read).values())
            print(f"{scene:8}{name:10}{figures}", flush=True)


if __name__ == "__main__":
    main()
