"""How wrong is the segmenter on scenes it never saw, beside Otsu's threshold and two-colour k-means, in one run.

    python -m benchmarks.segmenter.compare PHOTOS [--cache FILE] [--faces 3000] [--steps 4000] [--more 800]

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

from benchmarks.segmenter.dataset import Example, planes_of, scene_example
from benchmarks.segmenter.network import FaceNetwork
from benchmarks.segmenter.rivals import otsu, two_colours
from benchmarks.segmenter.scenes import SceneFace, load_scenes
from benchmarks.segmenter.train import drawn_examples, train
from vision.segment_input import face_facts, pad_planes, stack_planes

Reader = Callable[[SceneFace], NDArray[np.bool_]]


def colonised_by(network: FaceNetwork, example: Example) -> NDArray[np.bool_]:
    """Where the network holds a face colonised, at the planes' scale."""
    planes = planes_of(example)
    plate = example.kind == "plate"
    facts = face_facts(planes, plate=plate, baseline=example.baseline, referenced=example.referenced)
    stack = pad_planes(stack_planes(planes, example.baseline))
    network.eval()
    with torch.no_grad():
        logits = network(torch.from_numpy(stack[None]), torch.from_numpy(facts[None, :, None, None]))[0]
    probability = torch.softmax(logits[:3], 0)[1].numpy()
    height, width = planes.within.shape
    large = cv2.resize(probability, stack.shape[:0:-1], interpolation=cv2.INTER_LINEAR)[:height, :width]
    return np.asarray((large > 0.5) & (planes.within > 0))


def by_network(network: FaceNetwork, *, alone: bool = False) -> Reader:
    """A reader of faces that asks the network."""

    def read(face: SceneFace) -> NDArray[np.bool_]:
        example = scene_example(replace(face, baseline=None) if alone else face)
        small = colonised_by(network, example).astype(np.uint8)
        large = cv2.resize(small, face.classes.shape[::-1], interpolation=cv2.INTER_NEAREST)
        return np.asarray((large > 0) & face.inside)

    return read


def judge(faces: list[SceneFace], read: Reader) -> tuple[float, float, float]:
    """Mean absolute error and its 95th percentile in points, and intersection over union of the colonised class."""
    errors, unions = [], []
    for face in faces:
        said, true = read(face), face.classes == 2
        errors.append(abs(100 * float(said[face.inside].mean()) - face.percent))
        if (said | true).sum() > 400:
            unions.append(float((said & true).sum() / (said | true).sum()))
    return float(np.mean(errors)), float(np.quantile(errors, 0.95)), float(np.mean(unions))


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
    print(f"{'scene':8}{'reader':10}{'mean error':>12}{'95 %':>8}{'IoU':>8}")
    for scene in sorted({face.scene for face in faces}):
        own = [face for face in faces if face.scene == scene]
        others = [scene_example(face) for face in faces if face.scene != scene]
        tuned = copy.deepcopy(base)
        rng = np.random.default_rng(1)
        train(tuned, [*drawn, *others], arguments.more, rate=1e-3, rng=rng, share_of_last=0.4)
        readers = {
            "otsu": otsu,
            "k-means": two_colours,
            "drawn": by_network(base),
            "others": by_network(tuned),
            "alone": by_network(tuned, alone=True),
        }
        for name, read in readers.items():
            error, most, union = judge(own, read)
            print(f"{scene:8}{name:10}{error:12.2f}{most:8.2f}{union:8.3f}", flush=True)


if __name__ == "__main__":
    main()
