"""Train the segmenter's network on drawn faces, and on faces of scenes where given, and write the model file.

    python -m training.segmenter.train --out FILE.onnx [--faces 5200] [--steps 8000] [--rate 3e-3]
        [--photos DIR ...] [--strange] [--begin FILE]

Beside FILE.onnx it writes FILE.pt, the weights that a further stage begins with (``--begin``); a model file will do
too (``--begin vision/segmenter.onnx``). Needs torch and onnx, which the program itself does not: ``pip install torch
onnx``.
"""

import argparse
import pickle
from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import Tensor, nn

from training.segmenter.dataset import Batch, Example, batch, drawn_example, scene_example
from training.segmenter.faces import draw_face
from training.segmenter.learning import learn
from training.segmenter.network import FaceNetwork, at_planes_scale
from training.segmenter.noise import Rng
from training.segmenter.recover import recover
from training.segmenter.scenes import load_scenes
from training.segmenter.strange import broad_band, strange_ground, strange_substrate
from vision.surface.segmenter_input import FACTS, PLANES

KINDS = ("bag", "jar", "plate")
BATCH_SIZE = 8
#: Faces of scenes below this count twice: small colonies are the hardest to outline.
EARLY_PERCENT = 20.0
#: To each drawn face so many strange grounds, broad bands of a mould's colour, and strange grounds with growth.
STRANGE = (0.17, 0.06, 0.1)
#: Faces of scenes above this are shown without a label too: full and white, they look most like strange grounds.
FULL_PERCENT = 90.0
#: Share of a batch that comes from scenes, where there are any.
SCENE_SHARE = 0.5
#: By how much more a coloured and a veiled point counts than one that is not: both are rare.
RARE = (4.0, 2.0)

#: Batches from which the scaling of a model file's blocks is measured.
RECOVERING = 60
#: Weight of the overlap, for colonies of at least this many points of the network's answer (about 9 mm2).
OVERLAP, LEAST_COLONY = 0.3, 20.0


def drawn_examples(count: int, first: int = 0) -> list[Example]:
    """Draw faces number ``first`` to ``first + count`` of the endless repeatable row of them."""
    return [drawn_example(draw_face(np.random.default_rng([20260302, first + i]))) for i in range(count)]


def strange_examples(faces: int) -> list[Example]:
    """Strange faces, as many as go with so many drawn ones."""
    return [
        drawn_example(draw(np.random.default_rng([20261128, kind, i])))
        for kind, draw in enumerate((strange_ground, broad_band, strange_substrate))
        for i in range(round(STRANGE[kind] * faces))
    ]


def scene_examples(folder: Path) -> list[Example]:
    """Examples of all faces of the scenes in a folder; early ones twice, every third vessel and full faces also without
    a label.
    """
    faces = load_scenes(folder)
    early = [face for face in faces if face.percent < EARLY_PERCENT]
    names = sorted({(face.scene, face.vessel) for face in faces if face.referenced})
    bare = [
        face
        for face in load_scenes(folder, labels=False)
        if (face.scene, face.vessel) in names[::3] or face.percent > FULL_PERCENT
    ]
    return [scene_example(face) for face in [*faces, *early, *bare]]


def all_examples(faces: int, photos: Sequence[Path], cache: Path | None) -> list[Example]:
    """So many drawn faces, kept in the file ``cache`` between runs, and those of the scenes in ``photos``.

    A folder that is named several times counts as often.
    """
    if cache and cache.exists():
        examples: list[Example] = pickle.loads(cache.read_bytes())  # noqa: S301 - our own file
    else:
        examples = drawn_examples(faces)
        if cache:
            cache.write_bytes(pickle.dumps(examples))
    return examples + [example for folder in photos for example in scene_examples(folder)]


def loss(logits: Tensor, truth: Batch) -> Tensor:
    """Cross entropy against shares, the error of the face's colonised share, and overlap; averaged over faces.

    Overlap is what is missing to one in Dice's coefficient (Dice 1945, Ecology 26:297-302): it counts a colony's
    outline as much when it is young and small as when it fills the face.
    """
    within = truth.within
    area = within.sum((1, 2)).clamp_min(1)
    share = (truth.truth / within.clamp_min(1e-3)[:, None]).clamp(0, 1)
    classes = torch.stack([(1 - share[:, 0] - share[:, 1]).clamp_min(0), share[:, 0], share[:, 1]], 1)
    logs = torch.log_softmax(logits[:, :3], 1)
    which = (-(classes * logs).sum(1) * within).sum((1, 2)) / area
    apart = nn.functional.binary_cross_entropy_with_logits(
        logits[:, 3:], share[:, 2:], reduction="none", pos_weight=torch.tensor(RARE).view(2, 1, 1)
    )
    apart = (apart * within[:, None]).sum((2, 3)) / area[:, None]
    whole = ((logs[:, 1].exp() - share[:, 0]) * within).sum((1, 2)) / area
    said, true = logs[:, 1].exp() * within, share[:, 0] * within
    overlap = 2 * (said * true).sum((1, 2)) / (said + true).sum((1, 2)).clamp_min(1)
    apart_overlap = (1 - overlap) * (true.sum((1, 2)) > LEAST_COLONY)
    return (
        which + apart[:, 0] + 0.5 * truth.fully_labelled * apart[:, 1] + whole.abs() + OVERLAP * apart_overlap
    ).mean()


def train(
    network: FaceNetwork, examples: Sequence[Example], steps: int, *, rate: float, rng: Rng, share_of_last: float = 0.0
) -> None:
    """Train in place; afterwards the network holds the running mean of its weights.

    ``share_of_last``: in what share of draws an example without full labels (one from a scene) is taken.
    """
    learn(network, _losses(network, examples, steps, rng, share_of_last), steps, rate)


def first_network(begin: Path | None, examples: Sequence[Example], share_of_last: float) -> FaceNetwork:
    """The network that training begins with: an earlier stage's, one from a model file, or a new one."""
    network = FaceNetwork()
    if begin is None:
        return network
    if begin.suffix == ".onnx":
        return recover(begin, islice(batches(examples, np.random.default_rng(1), share_of_last), RECOVERING))
    network.load_state_dict(torch.load(begin))
    return network


def _losses(
    network: FaceNetwork, examples: Sequence[Example], steps: int, rng: Rng, share_of_last: float
) -> Iterator[Tensor]:
    for data in islice(batches(examples, rng, share_of_last), steps):
        answer = network(data.planes.to(memory_format=torch.channels_last), data.facts)
        yield loss(at_planes_scale(answer), data)


def batches(examples: Sequence[Example], rng: Rng, share_of_last: float) -> Iterator[Batch]:
    """Batches without end, each of one kind of vessel."""
    groups = {(kind, known): [e for e in examples if e.kind == kind and e.fully_labelled is known]
              for kind in KINDS for known in (True, False)}  # fmt: skip
    frequency = np.array([len(groups[kind, True]) + len(groups[kind, False]) for kind in KINDS], float)
    while True:
        kind = KINDS[int(rng.choice(len(KINDS), p=frequency / frequency.sum()))]
        chosen = []
        for _ in range(BATCH_SIZE):
            group = groups[kind, not (groups[kind, False] and rng.random() < share_of_last)]
            chosen.append(group[int(rng.integers(len(group)))])
        yield batch(rng, chosen)


def write_model(network: FaceNetwork, path: Path) -> None:
    """Write the network as ONNX, with free height and width."""
    network.eval()
    example = (torch.zeros(1, PLANES, 64, 48), torch.zeros(1, FACTS, 1, 1))
    free = {"planes": {2: "height", 3: "width"}, "logits": {2: "half_height", 3: "half_width"}}
    torch.onnx.export(
        network, example, str(path), input_names=["planes", "facts"], output_names=["logits"], opset_version=13,
        dynamic_axes=free, dynamo=False,
    )  # fmt: skip


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--faces", type=int, default=5200)
    parser.add_argument("--steps", type=int, default=8000)
    parser.add_argument("--rate", type=float, default=3e-3, help="highest rate of learning")
    parser.add_argument("--photos", type=Path, nargs="*", default=[], help="folders of scenes with truth, to train on")
    parser.add_argument(
        "--strange", action="store_true", help="strange grounds, bare and grown over, and broad bands too"
    )
    parser.add_argument("--begin", type=Path, help="weights of an earlier stage, .pt or a model file, .onnx")
    parser.add_argument("--cache", type=Path, help="file that keeps the drawn faces between runs")
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    examples = all_examples(arguments.faces, arguments.photos, arguments.cache)
    examples += strange_examples(arguments.faces) if arguments.strange else []
    torch.manual_seed(0)
    share = SCENE_SHARE if arguments.photos else 0.0
    network = first_network(arguments.begin, examples, share)
    train(network, examples, arguments.steps, rate=arguments.rate, rng=np.random.default_rng(0), share_of_last=share)
    torch.save(network.state_dict(), arguments.out.with_suffix(".pt"))
    write_model(network, arguments.out)


if __name__ == "__main__":
    main()
