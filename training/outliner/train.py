"""Train the outliner's network on frames of rendered scenes, drawn frames and pictures without a vessel.

    python -m training.outliner.train --out FILE.onnx --frames DIR [--steps 12000] [--only own|second] [--begin FILE.pt]
        [--device cuda] [--workers 12] [--minutes 9]

DIR is the output of ``training.outliner.collect``. Beside FILE.onnx it writes FILE.pt, the weights that a further stage
begins with (``--begin``). Needs torch and onnx, which the program itself does not.
"""

import argparse
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.utils.data import DataLoader, IterableDataset, get_worker_info

from training.outliner.collect import load_kept_frames
from training.outliner.frames import FrameExample
from training.outliner.network import FrameNetwork
from training.outliner.vary import vary
from training.segmenter.learning import learn
from vision.face.outline_network import PLANES, SIDE_MULTIPLE, outline_planes

#: Weight of the overlap relative to the cross entropy.
OVERLAP = 0.5
#: The parts of a batch: planes, true shares and weights, as returned by ``vary``.
Varied = list[tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]]


def loss(logits: Tensor, target: Tensor, weight: Tensor) -> Tensor:
    """Cross entropy against true shares, plus one minus the overlap (Dice 1945, Ecology 26:297-302)."""
    area = weight.sum((1, 2)).clamp_min(1)
    apart = nn.functional.binary_cross_entropy_with_logits(logits, target, reduction="none")
    said = logits.sigmoid() * weight
    true = target * weight
    overlap = 2 * (said * true).sum((1, 2)) / (said + true).sum((1, 2)).clamp_min(1)
    return ((apart * weight).sum((1, 2)) / area + OVERLAP * (1 - overlap) * (true.sum((1, 2)) > 1)).mean()


class Stream(IterableDataset[tuple[Tensor, Tensor, Tensor]]):
    """Endless batches; the frames of a batch are of one group, and so of about one size."""

    def __init__(self, examples: Sequence[FrameExample], size: int) -> None:
        names = sorted({one.group for one in examples})
        self.groups = [[one for one in examples if one.group == name] for name in names]
        self.size = size

    def __iter__(self) -> Iterator[tuple[Tensor, Tensor, Tensor]]:
        """Planes (N, P, h, w), true shares and weights (N, h / 2, w / 2)."""
        cv2.setNumThreads(1)
        worker = get_worker_info()
        rng = np.random.default_rng([1, 0 if worker is None else worker.id])
        share = np.array([len(group) for group in self.groups], float) ** 0.7
        while True:
            group = self.groups[int(rng.choice(len(self.groups), p=share / share.sum()))]
            yield stacked([vary(rng, group[int(i)]) for i in rng.integers(len(group), size=self.size)])


def stacked(varied: Varied) -> tuple[Tensor, Tensor, Tensor]:
    """Frames of several sizes as one batch; padding has weight zero."""
    rows, columns = (max(one[0].shape[axis] for one in varied) for axis in (1, 2))
    rows, columns = rows + -rows % SIDE_MULTIPLE, columns + -columns % SIDE_MULTIPLE
    planes = torch.zeros(len(varied), PLANES, rows, columns)
    target, weight = torch.zeros(2, len(varied), rows // 2, columns // 2)
    for i, (shown, true, counts) in enumerate(varied):
        planes[i, :, : shown.shape[1], : shown.shape[2]] = torch.from_numpy(shown)
        target[i, : true.shape[0], : true.shape[1]] = torch.from_numpy(true)
        weight[i, : counts.shape[0], : counts.shape[1]] = torch.from_numpy(counts)
    return planes, target, weight


def losses(
    network: FrameNetwork, examples: Sequence[FrameExample], size: int, workers: int, device: str
) -> Iterator[Tensor]:
    """Loss of each batch with the present state of the network."""
    loader = DataLoader(
        Stream(examples, size), batch_size=None, num_workers=workers, prefetch_factor=4 if workers else None
    )
    for batch in loader:
        planes, target, weight = (one.to(device, non_blocking=True) for one in batch)
        with torch.autocast(planes.device.type, torch.bfloat16, enabled=planes.device.type == "cuda"):
            answer = network(planes.to(memory_format=torch.channels_last))[:, 0]
        yield loss(answer.float(), target, weight)


def judge(network: FrameNetwork, examples: Sequence[FrameExample]) -> str:
    """Overlap (intersection over union) of predicted and true faces by group: median and 5 % quantile.

    For pictures without a vessel: the share in which more than 1 % is predicted to be a face.
    """
    network.cpu().eval()
    seen: dict[str, list[float]] = {}
    for one in examples:
        half = (one.masks.shape[1] // 2, one.masks.shape[0] // 2)
        shares = np.asarray(cv2.resize(one.masks, half, interpolation=cv2.INTER_AREA), np.float32) / np.float32(255)
        planes = outline_planes(one.light.astype(np.float32), shares[..., 1], shares[..., 2], one.usual)
        high, wide = planes.shape[1:]
        padded = np.pad(planes, ((0, 0), (0, -high % SIDE_MULTIPLE), (0, -wide % SIDE_MULTIPLE)))
        with torch.no_grad():
            logits = network(torch.from_numpy(padded)[None])[0, 0].numpy()
        said = cv2.resize(logits, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)[:high, :wide] > 0
        true = shares[..., 0] > 0.5
        if true.any():
            seen.setdefault(one.group, []).append(float((said & true).sum() / max(1, (said | true).sum())))
        else:
            seen.setdefault("nothing", []).append(float(said.mean() > 0.01))
    return "; ".join(
        f"{group} {np.median(values):.3f}, {np.quantile(values, 0.05):.3f}, mean {np.mean(values):.3f} of {len(values)}"
        for group, values in sorted(seen.items())
    )


def write_model(network: FrameNetwork, path: Path) -> None:
    """Write the network as ONNX, with free height and width."""
    network = network.cpu().eval()
    free = {"planes": {2: "height", 3: "width"}, "logits": {2: "half_height", 3: "half_width"}}
    torch.onnx.export(
        network, (torch.zeros(1, PLANES, 192, 160),), str(path), input_names=["planes"], output_names=["logits"],
        opset_version=13, dynamic_axes=free, dynamo=False,
    )  # fmt: skip


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--frames", type=Path, required=True, help="folder that collect wrote")
    parser.add_argument("--judge", type=Path, nargs="*", default=[], help="folders of frames not trained on")
    parser.add_argument("--only", choices=("own", "second"), help="learn from one hand only")
    parser.add_argument("--steps", type=int, default=12000)
    parser.add_argument("--minutes", type=float, default=600.0, help="end after so long at the latest")
    parser.add_argument("--rate", type=float, default=3e-3, help="highest rate of learning")
    parser.add_argument("--batch", type=int, default=16)
    parser.add_argument("--begin", type=Path, help="weights of an earlier stage")
    parser.add_argument("--device", default="cpu")
    parser.add_argument("--workers", type=int, default=0, help="processes that make batches")
    arguments = parser.parse_args()
    until = time.monotonic() + 60 * arguments.minutes
    torch.manual_seed(0)
    examples = load_kept_frames(arguments.frames, only=arguments.only)
    print(f"{len(examples)} frames", flush=True)
    network = FrameNetwork()
    if arguments.begin:
        network.load_state_dict(torch.load(arguments.begin, map_location="cpu"))
    network = network.to(arguments.device)
    source = losses(network, examples, arguments.batch, arguments.workers, arguments.device)
    learn(network, source, arguments.steps, arguments.rate, until=until)
    torch.save({name: value.cpu() for name, value in network.state_dict().items()}, arguments.out.with_suffix(".pt"))
    write_model(network, arguments.out)
    for folder in arguments.judge:
        print(f"{folder.name}: {judge(network, load_kept_frames(folder))}")


if __name__ == "__main__":
    main()
