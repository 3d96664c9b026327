"""Train the outliner's network on frames of scenes with truth and on drawn ones, and write the model file.

    python -m training.outliner.train --out FILE.onnx --photos DIR ... [--drawn 600] [--steps 12000]
        [--judge DIR ...] [--begin FILE.pt]

Beside FILE.onnx it writes FILE.pt, the weights that a further stage begins with (``--begin``). Needs torch and onnx,
which the program itself does not: ``pip install torch onnx``.
"""

import argparse
import multiprocessing
import pickle
from collections.abc import Iterator, Sequence
from pathlib import Path

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from training.outliner.drawn import draw_frame
from training.outliner.frames import FrameExample, load_frames
from training.outliner.network import FrameNetwork
from training.outliner.vary import vary
from training.segmenter.learning import learn
from vision.face.outline_network import PLANES, SIDE_MULTIPLE, outline_planes

BATCH_SIZE = 8
#: Weight of the overlap beside the cross entropy.
OVERLAP = 0.5


def loss(logits: Tensor, target: Tensor, weight: Tensor) -> Tensor:
    """Cross entropy against true shares, and what is missing to a full overlap (Dice 1945, Ecology 26:297-302)."""
    area = weight.sum((1, 2)).clamp_min(1)
    apart = nn.functional.binary_cross_entropy_with_logits(logits, target, reduction="none")
    said = logits.sigmoid() * weight
    true = target * weight
    overlap = 2 * (said * true).sum((1, 2)) / (said + true).sum((1, 2)).clamp_min(1)
    return ((apart * weight).sum((1, 2)) / area + OVERLAP * (1 - overlap) * (true.sum((1, 2)) > 1)).mean()


#: What a batch is made of: planes, true shares and weights, as ``vary`` gives them.
Varied = list[tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]]


def _make_batches(examples: Sequence[FrameExample], seed: int, out: "multiprocessing.Queue[Varied]") -> None:
    """Hand out batches without end; each has frames of one group, so that they are of about one size."""
    rng = np.random.default_rng(seed)
    groups = [[one for one in examples if one.group == name] for name in sorted({e.group for e in examples})]
    share = np.array([len(group) for group in groups], float) ** 0.7
    while True:
        group = groups[int(rng.choice(len(groups), p=share / share.sum()))]
        out.put([vary(rng, group[int(i)]) for i in rng.integers(len(group), size=BATCH_SIZE)])


def _batches(examples: Sequence[FrameExample], steps: int) -> Iterator[Varied]:
    """Batches, made by a process of their own while the network learns."""
    context = multiprocessing.get_context("fork")
    queue: multiprocessing.Queue[Varied] = context.Queue(8)
    maker = context.Process(target=_make_batches, args=(examples, 0, queue), daemon=True)
    maker.start()
    for _ in range(steps):
        yield queue.get()
    maker.terminate()


def _stacked(varied: Varied) -> tuple[Tensor, Tensor, Tensor]:
    rows, columns = (max(one[0].shape[axis] for one in varied) for axis in (1, 2))
    rows, columns = rows + -rows % SIDE_MULTIPLE, columns + -columns % SIDE_MULTIPLE
    planes = torch.zeros(len(varied), PLANES, rows, columns)
    target, weight = torch.zeros(2, len(varied), rows // 2, columns // 2)
    for i, (shown, true, counts) in enumerate(varied):
        planes[i, :, : shown.shape[1], : shown.shape[2]] = torch.from_numpy(shown)
        target[i, : true.shape[0], : true.shape[1]] = torch.from_numpy(true)
        weight[i, : counts.shape[0], : counts.shape[1]] = torch.from_numpy(counts)
    return planes, target, weight


def train(network: FrameNetwork, examples: Sequence[FrameExample], steps: int, *, rate: float) -> None:
    """Train in place; afterwards the network holds the running mean of its weights."""
    learn(network, _losses(network, examples, steps), steps, rate)


def _losses(network: FrameNetwork, examples: Sequence[FrameExample], steps: int) -> Iterator[Tensor]:
    for varied in _batches(examples, steps):
        planes, target, weight = _stacked(varied)
        yield loss(network(planes.to(memory_format=torch.channels_last))[:, 0], target, weight)


def judge(network: FrameNetwork, examples: Sequence[FrameExample]) -> str:
    """Overlap (intersection over union) of said and true faces by group: median, worst twentieth."""
    network.eval()
    seen: dict[str, list[float]] = {}
    for one in examples:
        half = (one.masks.shape[1] // 2, one.masks.shape[0] // 2)
        shares = cv2.resize(one.masks, half, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
        planes = outline_planes(one.light.astype(np.float32), shares[..., 1], shares[..., 2], one.usual)
        high, wide = planes.shape[1:]
        padded = np.pad(planes, ((0, 0), (0, -high % SIDE_MULTIPLE), (0, -wide % SIDE_MULTIPLE)))
        with torch.no_grad():
            logits = network(torch.from_numpy(padded)[None])[0, 0].numpy()
        said = cv2.resize(logits, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)[:high, :wide] > 0
        true = shares[..., 0] > 0.5
        seen.setdefault(one.group, []).append(float((said & true).sum() / max(1, (said | true).sum())))
    return "; ".join(
        f"{group} {np.median(values):.3f}, {np.quantile(values, 0.05):.3f} (n {len(values)})"
        for group, values in sorted(seen.items())
    )


def write_model(network: FrameNetwork, path: Path) -> None:
    """Write the network as ONNX, with free height and width."""
    network.eval()
    free = {"planes": {2: "height", 3: "width"}, "logits": {2: "half_height", 3: "half_width"}}
    torch.onnx.export(
        network, (torch.zeros(1, PLANES, 192, 160),), str(path), input_names=["planes"], output_names=["logits"],
        opset_version=13, dynamic_axes=free, dynamo=False,
    )  # fmt: skip


def _drawn_examples(count: int, cache: Path | None) -> list[FrameExample]:
    """The first so many of the endless repeatable row of drawn frames."""
    kept: list[FrameExample] = []
    if cache and cache.exists():
        kept = pickle.loads(cache.read_bytes())  # noqa: S301 - our own file
    kept += [draw_frame(np.random.default_rng([20261126, 2, i])) for i in range(len(kept), count)]
    if cache:
        cache.write_bytes(pickle.dumps(kept))
    return kept[:count]


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--photos", type=Path, nargs="+", required=True, help="folders of scenes with truth")
    parser.add_argument("--drawn", type=int, default=600, help="how many drawn frames beside them")
    parser.add_argument("--judge", type=Path, nargs="*", default=[], help="folders of scenes that are not trained on")
    parser.add_argument("--steps", type=int, default=12000)
    parser.add_argument("--rate", type=float, default=3e-3, help="highest rate of learning")
    parser.add_argument("--begin", type=Path, help="weights of an earlier stage")
    parser.add_argument("--cache", type=Path, help="file that keeps the drawn frames between runs")
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    rng = np.random.default_rng(0)
    examples = [one for folder in arguments.photos for one in load_frames(folder, rng)]
    examples += _drawn_examples(arguments.drawn, arguments.cache)
    print(f"{len(examples)} frames", flush=True)
    torch.manual_seed(0)
    network = FrameNetwork()
    if arguments.begin:
        network.load_state_dict(torch.load(arguments.begin))
    train(network, examples, arguments.steps, rate=arguments.rate)
    torch.save(network.state_dict(), arguments.out.with_suffix(".pt"))
    write_model(network, arguments.out)
    for folder in arguments.judge:
        print(f"{folder.name}: {judge(network, list(load_frames(folder, rng)))}")


if __name__ == "__main__":
    main()
