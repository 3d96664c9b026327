"""Train the segmenter's network on faces of two hands, and write the model file.

    python -m training.segmenter.train --out FILE.onnx --examples DIR [--steps 20000] [--rate 3e-3] [--batch 48]
        [--only own|second] [--other OWN.pt SECOND.pt] [--begin FILE.pt] [--device cuda] [--workers 12] [--minutes 9]

DIR holds what ``training.segmenter.collect`` wrote. ``--only`` learns from one hand: such a network judges how an eye
reads pictures of a maker that it has never seen. Two of them (``--other``) teach the shipped network its doubt: at each
point how wrong the one is that did not learn from that maker. Beside FILE.onnx it writes FILE.pt, the weights that a
further stage begins with (``--begin``). Needs torch and onnx, which the program itself does not.
"""

import argparse
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import Tensor, nn
from torch.utils.data import DataLoader, IterableDataset, get_worker_info

from training.segmenter.collect import load_examples
from training.segmenter.dataset import Batch, Example, batch
from training.segmenter.learning import learn
from training.segmenter.network import SIDE_MULTIPLE, FaceNetwork, at_planes_scale
from vision.surface.segmenter_input import FACTS, PLANES

#: Share of batches that hold whole faces, and how many of those at once.
WHOLE_SHARE, WHOLE_BATCH = 0.2, 12
#: How often an example is drawn by what it is: faces drawn without a renderer, own scenes, the second hand's scenes.
SHARES = {"drawn": 0.25, "own": 0.3, "second": 0.45}
#: By how much more a coloured and a veiled point counts than one that is not: both are rare.
RARE = (4.0, 2.0)
#: Weight of the overlap, for colonies of at least this many points of the network's answer (about 9 mm2).
OVERLAP, LEAST_COLONY = 0.3, 20.0
#: Weight of what is taught of doubt.
DOUBT = 0.5


def loss(logits: Tensor, truth: Batch, wrong: Tensor | None = None) -> Tensor:
    """Cross entropy against shares, the error of the face's colonised share, and overlap; averaged over faces.

    Overlap is what is missing to one in Dice's coefficient (Dice 1945, Ecology 26:297-302): it counts a colony's
    outline as much when it is young and small as when it fills the face. wrong: (N, h, w), what doubt is to say.
    """
    within = truth.within
    area = within.sum((1, 2)).clamp_min(1)
    share = (truth.truth / within.clamp_min(1e-3)[:, None]).clamp(0, 1)
    classes = torch.stack([(1 - share[:, 0] - share[:, 1]).clamp_min(0), share[:, 0], share[:, 1]], 1)
    logs = torch.log_softmax(logits[:, :3], 1)
    which = (-(classes * logs).sum(1) * within).sum((1, 2)) / area
    rare = torch.tensor(RARE, device=logits.device).view(2, 1, 1)
    apart = nn.functional.binary_cross_entropy_with_logits(
        logits[:, 3:5], share[:, 2:], reduction="none", pos_weight=rare
    )
    apart = (apart * within[:, None]).sum((2, 3)) / area[:, None]
    whole = ((logs[:, 1].exp() - share[:, 0]) * within).sum((1, 2)) / area
    said, true = logs[:, 1].exp() * within, share[:, 0] * within
    overlap = 2 * (said * true).sum((1, 2)) / (said + true).sum((1, 2)).clamp_min(1)
    apart_overlap = (1 - overlap) * (true.sum((1, 2)) > LEAST_COLONY)
    total = which + apart[:, 0] + 0.5 * truth.fully_labelled * apart[:, 1] + whole.abs() + OVERLAP * apart_overlap
    if wrong is not None:
        doubt = nn.functional.binary_cross_entropy_with_logits(logits[:, 5], wrong, reduction="none")
        total = total + DOUBT * (doubt * within).sum((1, 2)) / area
    return total.mean()


class Stream(IterableDataset[Batch]):
    """Batches without end, made by each worker from its own row of random numbers."""

    def __init__(self, examples: Sequence[Example], size: int, seed: int) -> None:
        self.groups: dict[str, list[Example]] = {name: [] for name in SHARES}
        for one in examples:
            self.groups["drawn" if one.fully_labelled else one.hand].append(one)
        self.size, self.seed = size, seed

    def __iter__(self) -> Iterator[Batch]:
        """Batches of windows, now and then of whole faces of one kind."""
        cv2.setNumThreads(1)
        worker = get_worker_info()
        rng = np.random.default_rng([self.seed, 0 if worker is None else worker.id])
        names = [name for name, group in self.groups.items() if group]
        share = np.array([SHARES[name] for name in names])
        share /= share.sum()
        while True:
            whole = rng.random() < WHOLE_SHARE
            chosen = [self._one(rng, names, share) for _ in range(WHOLE_BATCH if whole else self.size)]
            if whole:
                kind = chosen[0].kind
                chosen = [one for one in chosen if one.kind == kind]
            yield batch(rng, chosen, whole=whole)

    def _one(self, rng: np.random.Generator, names: list[str], share: np.ndarray) -> Example:
        group = self.groups[names[int(rng.choice(len(names), p=share))]]
        return group[int(rng.integers(len(group)))]


def on_device(data: Batch, device: str) -> Batch:
    """The batch's tensors on a device."""
    return Batch(*(one.to(device, non_blocking=True) for one in vars(data).values()))


def answer_of(network: FaceNetwork, data: Batch) -> Tensor:
    """Logits (N, outputs, h, w) of a batch, its planes padded as the network asks."""
    rows, columns = data.planes.shape[2:]
    planes = nn.functional.pad(data.planes, (0, -columns % SIDE_MULTIPLE, 0, -rows % SIDE_MULTIPLE))
    with torch.autocast(planes.device.type, torch.bfloat16, enabled=planes.device.type == "cuda"):
        answer = network(planes.to(memory_format=torch.channels_last), data.facts)
    return at_planes_scale(answer.float())[:, :, :rows, :columns]


def wrong_of(others: Sequence[FaceNetwork], data: Batch) -> Tensor:
    """How far off, 0-1 (N, h, w), the network is that did not learn from a face's hand; others: own, second."""
    with torch.no_grad():
        own, second = (answer_of(other, data)[:, :3].softmax(1)[:, 1] for other in others)
    said = torch.where(data.second[:, None, None] > 0, own, second)
    true = (data.truth[:, 0] / data.within.clamp_min(1e-3)).clamp(0, 1)
    return (said - true).abs().clamp(0, 1)


def losses(
    network: FaceNetwork, examples: Sequence[Example], others: Sequence[FaceNetwork], arguments: argparse.Namespace
) -> Iterator[Tensor]:
    """Losses of batch after batch, as the network is then, until the time is up."""
    loader = DataLoader(
        Stream(examples, arguments.batch, arguments.seed),
        batch_size=None,
        num_workers=arguments.workers,
        pin_memory=arguments.device != "cpu",
        prefetch_factor=4 if arguments.workers else None,
    )
    for data in loader:
        there = on_device(data, arguments.device)
        wrong = wrong_of(others, there) if others else None
        yield loss(answer_of(network, there), there, wrong)


def read_network(path: Path, device: str) -> FaceNetwork:
    """A network from the weights that an earlier run wrote."""
    network = FaceNetwork()
    network.load_state_dict(torch.load(path, map_location="cpu"))
    return network.to(device)


def write_model(network: FaceNetwork, path: Path) -> None:
    """Write the network as ONNX, with free height and width."""
    network = network.cpu().eval()
    example = (torch.zeros(1, PLANES, 64, 96), torch.zeros(1, FACTS, 1, 1))
    free = {"planes": {2: "height", 3: "width"}, "logits": {2: "half_height", 3: "half_width"}}
    torch.onnx.export(
        network, example, str(path), input_names=["planes", "facts"], output_names=["logits"], opset_version=13,
        dynamic_axes=free, dynamo=False,
    )  # fmt: skip


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--examples", type=Path, required=True, help="folder that collect wrote")
    parser.add_argument("--only", choices=("own", "second"), help="learn from one hand only")
    parser.add_argument("--other", type=Path, nargs=2, default=[], help="weights of networks of one hand: own, second")
    parser.add_argument("--steps", type=int, default=20000)
    parser.add_argument("--minutes", type=float, default=600.0, help="end after so long at the latest")
    parser.add_argument("--rate", type=float, default=3e-3, help="highest rate of learning")
    parser.add_argument("--batch", type=int, default=48)
    parser.add_argument("--begin", type=Path, help="weights of an earlier stage")
    parser.add_argument("--device", default="cpu")
    parser.add_argument("--workers", type=int, default=0, help="processes that make batches")
    parser.add_argument("--seed", type=int, default=0)
    arguments = parser.parse_args()
    until = time.monotonic() + 60 * arguments.minutes
    torch.manual_seed(arguments.seed)
    torch.backends.cudnn.benchmark = False
    examples = load_examples(arguments.examples, only=arguments.only)
    print(f"{len(examples)} faces", flush=True)
    network = read_network(arguments.begin, arguments.device) if arguments.begin else FaceNetwork().to(arguments.device)
    others = [read_network(path, arguments.device).eval() for path in arguments.other]
    learn(network, losses(network, examples, others, arguments), arguments.steps, arguments.rate, until=until)
    torch.save({name: value.cpu() for name, value in network.state_dict().items()}, arguments.out.with_suffix(".pt"))
    write_model(network, arguments.out)


if __name__ == "__main__":
    main()
