"""Train the segmenter's network on faces of two hands, and write the model file.

    python -m training.segmenter.train --out FILE.onnx --examples DIR [--steps 20000] [--rate 3e-3] [--batch 48]
        [--only own|second] [--other OWN.pt SECOND.pt] [--widths 32 64 128 192 256] [--finer 4]
        [--doubting EARLIER.pt] [--teachers LARGE.pt ...] [--as-drawn 0.5] [--shares 0.25 0.3 0.45]
        [--begin FILE.pt [--deeper 96] [--wider 24 48 80 104 136]] [--device cuda [--cards 4]] [--minutes 9]

DIR holds what ``training.segmenter.collect`` wrote. ``--only`` learns from one hand: such a network judges how an eye
reads pictures of a maker that it has never seen. Two of them (``--other``) teach the shipped network its doubt: at each
point how wrong the one is that did not learn from that maker; or it learns the doubt of an earlier network
(``--doubting``). ``--teachers``: wider networks whose answers the small one learns beside the truth. ``--as-drawn 1``
leaves all faces in their own looks. ``--shares``: how often faces drawn without a renderer, our own scenes' and the
second maker's are shown. Beside FILE.onnx it writes FILE.pt, the weights that a further stage begins with
(``--begin``). Needs torch and onnx, which the program itself does not.
"""

import argparse
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from copy import deepcopy
from functools import partial
from pathlib import Path

import torch
from torch import Tensor, nn

from training.cards import number, on_cards
from training.segmenter.batches import AS_DRAWN, SHARES, batches, put_on_device
from training.segmenter.collect import load_examples, load_textures
from training.segmenter.dataset import Batch
from training.segmenter.learning import learn
from training.segmenter.network import (
    FINER,
    IN_FILE,
    WIDTHS,
    FaceNetwork,
    at_planes_scale,
    deepened,
    network_of,
    widened,
)
from training.segmenter.view import COVERED
from vision.surface.segmenter_input import FACTS, PLANES

#: By how much more a coloured and a veiled point counts than one that is not: both are rare.
RARE = (4.0, 2.0)
#: Weight of the overlap, for colonies of at least this many points of the network's answer (about 9 mm2).
OVERLAP, LEAST_COLONY = 0.3, 20.0
#: Weights of a coloured patch whatever its size, of the most suspicious points that are clean, and of all clean points.
PATCH, WORST, CLEAN = 0.5, 0.25, 0.5
#: Width over which patches share their weight, points (about 20 mm), and how many of the most suspicious points count,
#: about as many as the least patch that is reported has.
SHARED_PX, WORST_POINTS = 31, 90
#: Weight of what is taught of doubt, of what teachers say, and of what is no surface.
DOUBT, TAUGHT, HIDDEN = 0.5, 1.0, 1.0


def loss(logits: Tensor, truth: Batch, wrong: Tensor | None = None) -> Tensor:
    """Cross entropy against shares, the error of the face's colonised share, and overlap; averaged over faces.

    Overlap is what is missing to one in Dice's coefficient (Dice 1945, Ecology 26:297-302): it counts a colony's
    outline as much when it is young and small as when it fills the face. What tape or a post covers is no mould,
    and veiled where that is known; beside that it is told only as what it is. wrong: (N, h, w), what doubt is to say.
    """
    share = (truth.truth / truth.within.clamp_min(1e-3)[:, None]).clamp(0, 1)
    covered = share[:, COVERED]
    within = truth.within * (1 - covered)
    area = within.sum((1, 2)).clamp_min(1)
    classes = torch.stack([(1 - share[:, 0] - share[:, 1]).clamp_min(0), share[:, 0], share[:, 1]], 1)
    logs = torch.log_softmax(logits[:, :3], 1)
    which = (-(classes * logs).sum(1) * within).sum((1, 2)) / area
    rare = torch.tensor(RARE, device=logits.device).view(2, 1, 1)
    rest = torch.stack([share[:, 2], torch.maximum(share[:, 3], covered)], 1)
    apart = nn.functional.binary_cross_entropy_with_logits(logits[:, 3:5], rest, reduction="none", pos_weight=rare)
    apart = (apart * truth.within[:, None]).sum((2, 3)) / area[:, None]
    whole = ((logs[:, 1].exp() - share[:, 0]) * within).sum((1, 2)) / area
    said, true = logs[:, 1].exp() * within, share[:, 0] * within
    overlap = 2 * (said * true).sum((1, 2)) / (said + true).sum((1, 2)).clamp_min(1)
    apart_overlap = (1 - overlap) * (true.sum((1, 2)) > LEAST_COLONY)
    total = which + apart[:, 0] + 0.5 * truth.fully_labelled * apart[:, 1] + whole.abs() + OVERLAP * apart_overlap
    total = total + patch_loss(logits[:, 3], share[:, 1:3], truth.within)
    hidden = nn.functional.binary_cross_entropy_with_logits(logits[:, 6], covered, reduction="none")
    total = total + HIDDEN * (hidden * truth.within).sum((1, 2)) / truth.within.sum((1, 2)).clamp_min(1)
    if wrong is not None:
        doubt = nn.functional.binary_cross_entropy_with_logits(logits[:, 5], wrong, reduction="none")
        total = total + DOUBT * (doubt * within).sum((1, 2)) / area
    return total.mean()


def patch_loss(logits: Tensor, foreign: Tensor, within: Tensor) -> Tensor:
    """Cross entropy (N,) of coloured points in which a small patch counts as much as a large one.

    By area a patch of 1 cm2 is three thousandths of a bag's face, and what a network says of it hardly matters. Here a
    coloured point counts the less the more of them there are around it, and of the others, beside their mean, the worst
    count, as one false patch is enough for a false alarm. logits: (N, h, w); foreign: (N, 2, h, w), shares of each
    point that are contaminated and coloured; within: (N, h, w).
    """
    coloured = (foreign[:, 1] > 0.5).float() * within
    crowd = nn.functional.avg_pool2d(coloured[:, None], SHARED_PX, 1, SHARED_PX // 2)[:, 0]
    weight = coloured / (crowd + 0.02)
    missed = (weight * nn.functional.softplus(-logits)).sum((1, 2)) / weight.sum((1, 2)).clamp_min(1)
    near = nn.functional.max_pool2d((foreign.amax(1, keepdim=True) > 0.02).float(), 7, 1, 3)[:, 0]
    clean = (1 - near) * (within > 0.5)
    wrong = nn.functional.softplus(logits) * clean
    around = nn.functional.avg_pool2d(wrong[:, None], 5, 1, 2)[:, 0] * clean
    worst = around.flatten(1).topk(min(WORST_POINTS, around[0].numel()), 1).values.mean(1)
    mean = wrong.sum((1, 2)) / clean.sum((1, 2)).clamp_min(1)
    return PATCH * missed + WORST * worst + CLEAN * mean


def answer_of(network: FaceNetwork, data: Batch) -> Tensor:
    """Logits (N, outputs, h, w) of a batch, its planes padded as the network asks."""
    rows, columns = data.planes.shape[2:]
    multiple = network.side_multiple
    planes = nn.functional.pad(data.planes, (0, -columns % multiple, 0, -rows % multiple))
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


def doubt_of(earlier: FaceNetwork, data: Batch) -> Tensor:
    """The doubt, 0-1 (N, h, w), of an earlier network."""
    with torch.no_grad():
        return answer_of(earlier, data)[:, 5].sigmoid()


def unlike(logits: Tensor, taught: Tensor, within: Tensor) -> Tensor:
    """Cross entropy against another network's answer, averaged over faces (Hinton, Vinyals & Dean 2015, Distilling the
    knowledge in a neural network, arXiv 1503.02531; from memory).
    """
    classes = -(taught[:, :3].softmax(1) * logits[:, :3].log_softmax(1)).sum(1)
    apart = nn.functional.binary_cross_entropy_with_logits(logits[:, 3:5], taught[:, 3:5].sigmoid(), reduction="none")
    each = ((classes + apart.sum(1)) * within).sum((1, 2)) / within.sum((1, 2)).clamp_min(1)
    return each.mean()


def losses(
    network: FaceNetwork,
    data: Iterable[Batch],
    doubt: Callable[[Batch], Tensor] | None = None,
    teachers: Sequence[FaceNetwork] = (),
) -> Iterator[Tensor]:
    """Losses of batch after batch, as the network is then.

    doubt: what doubt is to say of a batch, 0-1 (N, h, w). teachers: what they say in the mean is learned too.
    """
    for one in data:
        answer = answer_of(network, one)
        value = loss(answer, one, doubt(one) if doubt else None)
        if teachers:
            with torch.no_grad():
                taught = torch.stack([answer_of(teacher, one) for teacher in teachers]).mean(0)
            value = value + TAUGHT * unlike(answer, taught, one.within)
        yield value


def read_network(path: Path, device: str) -> FaceNetwork:
    """A network from the weights that an earlier run wrote."""
    return network_of(torch.load(path, map_location="cpu")).to(device)


def write_model(network: FaceNetwork, path: Path) -> None:
    """Write the network as ONNX, with free height and width and the outputs that the program reads."""
    network = deepcopy(network).cpu().eval()
    rows = IN_FILE * network.finer**2
    network.leave.weight = nn.Parameter(network.leave.weight[:rows])
    network.leave.bias = nn.Parameter(network.leave.bias[:rows])
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
    parser.add_argument("--doubting", type=Path, help="weights of a network whose doubt is learned")
    parser.add_argument("--teachers", type=Path, nargs="+", default=[], help="weights of larger networks to learn from")
    parser.add_argument("--steps", type=int, default=20000)
    parser.add_argument("--minutes", type=float, default=600.0, help="end after so long at the latest")
    parser.add_argument("--rate", type=float, default=3e-3, help="highest rate of learning")
    parser.add_argument("--batch", type=int, default=48)
    parser.add_argument("--as-drawn", type=float, default=AS_DRAWN, help="share of faces shown as they were drawn")
    parser.add_argument(
        "--shares", type=float, nargs=3, default=list(SHARES.values()), help="of drawn, own and second faces"
    )
    parser.add_argument("--widths", type=int, nargs="+", default=WIDTHS, help="channels of the levels, finest first")
    finer = "how much finer its answer is than its finest level; the program reads files of 2 only"
    parser.add_argument("--finer", type=int, default=FINER, choices=(2, 4), help=finer)
    parser.add_argument("--begin", type=Path, help="weights of an earlier stage")
    parser.add_argument("--deeper", type=int, nargs="+", default=[], help="channels of coarser levels to add to it")
    parser.add_argument("--wider", type=int, nargs="+", default=[], help="channels to widen its levels to")
    parser.add_argument("--device", default="cpu")
    parser.add_argument("--cards", type=int, default=1, help="graphics cards that learn together")
    parser.add_argument("--seed", type=int, default=0)
    arguments = parser.parse_args()
    arguments.until = time.monotonic() + 60 * arguments.minutes
    on_cards(arguments.cards, arguments.device, partial(_train, arguments))


def _train(arguments: argparse.Namespace, device: str) -> None:
    """Learn on one device, beside the others if there are more, and write the files."""
    torch.manual_seed(arguments.seed)
    torch.backends.cudnn.benchmark = False
    examples = load_examples(arguments.examples, only=arguments.only)
    network = _first_network(arguments).to(device)
    teachers = [read_network(path, device).eval() for path in arguments.teachers]
    textures = torch.from_numpy(load_textures(arguments.examples)).to(device)
    seed = arguments.seed + 1000 * number()
    faces = put_on_device(examples, device)
    shares = dict(zip(SHARES, arguments.shares, strict=True))
    data = batches(faces, textures, arguments.batch, seed, as_drawn=arguments.as_drawn, shares=shares)
    of_batches = losses(network, data, _doubt(arguments, device), teachers)
    learn(network, of_batches, arguments.steps, arguments.rate, until=arguments.until)
    if number() == 0:
        print(f"learned from {len(examples)} faces", flush=True)
        weights = {name: value.cpu() for name, value in network.state_dict().items()}
        torch.save(weights, arguments.out.with_suffix(".pt"))
        write_model(network, arguments.out)


def _doubt(arguments: argparse.Namespace, device: str) -> Callable[[Batch], Tensor] | None:
    """What doubt is to say of a batch: how wrong the network of the other hand is, or what an earlier one says."""
    if arguments.other:
        return partial(wrong_of, [read_network(path, device).eval() for path in arguments.other])
    if arguments.doubting:
        return partial(doubt_of, read_network(arguments.doubting, device).eval())
    return None


def _first_network(arguments: argparse.Namespace) -> FaceNetwork:
    """The network to begin with: of random weights, or an earlier one, made deeper and wider."""
    if not arguments.begin:
        return FaceNetwork(arguments.widths, arguments.finer)
    begun = read_network(arguments.begin, "cpu")
    deeper = deepened(begun, arguments.deeper) if arguments.deeper else begun
    return widened(deeper, arguments.wider) if arguments.wider else deeper


if __name__ == "__main__":
    main()
