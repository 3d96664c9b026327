"""The segmenter's network: a small encoder and decoder over the planes of a face, told a few facts about the whole."""

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

import torch
from torch import Tensor, nn

from vision.surface.segmenter_input import FACTS, PLANES

#: What each output plane says: three classes that exclude each other, then four that stand alone. ``doubt`` is how
#: wrong a network is at that point that has learned from another maker's pictures only; ``covered`` that something else
#: than the face's surface is seen there, which the outline took in. That is learned, but the program does not use it.
OUTPUTS = ("bare", "colonised", "contaminated", "coloured", "veiled", "doubt", "covered")
#: How many of the outputs a model file has.
IN_FILE = 6
#: By how much the answer, and what the network is shown, is finer than its finest level: 2 or 4.
FINER = 2
#: Channels of the shipped network's levels, finest first.
WIDTHS = (32, 56, 88, 112, 136)


def block(inputs: int, outputs: int, stride: int = 1) -> nn.Sequential:
    """A convolution of 3 x 3, its outputs brought to one scale, and what is above zero of them."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, 1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU(inplace=True)
    )


class FaceNetwork(nn.Module):
    """Planes (N, 8, h, w) and facts (N, 16, 1, 1) to logits (N, 7 x 4, h / 2, w / 2), see ``at_planes_scale``.

    Each level is half as fine as the one before; at the coarsest of five a pixel is about 21 mm. The facts shift every
    level, so that one set of filters serves a dark agar and a golden straw. All work is done at half the planes' scale
    or below; the last layer says of each pixel there what its four points are (Shi et al. 2016, Real-time single image
    and video super-resolution using an efficient sub-pixel convolutional neural network, CVPR; from memory).
    With ``finer`` 4 the finest level is a quarter of the planes' scale, and its pixels have sixteen points each.
    h and w are multiples of ``side_multiple``.
    """

    def __init__(self, widths: Sequence[int] = WIDTHS, finer: int = FINER) -> None:
        super().__init__()
        steps = list(pairwise(widths))
        self.finer = finer
        self.facts = nn.Sequential(nn.Conv2d(FACTS, 64, 1), nn.ReLU(), nn.Conv2d(64, 64, 1), nn.ReLU())
        self.shifts = nn.ModuleList(nn.Conv2d(64, n, 1) for n in widths)
        self.enter = nn.Conv2d(PLANES, widths[0], 2 * finer - 1, finer, finer - 1)
        self.first = block(widths[0], widths[0])
        self.down = nn.ModuleList(block(a, b, 2) for a, b in steps)
        self.level = nn.ModuleList(block(b, b) for _, b in steps)
        self.up = nn.ModuleList(nn.Conv2d(b, a, 1) for a, b in reversed(steps))
        self.join = nn.ModuleList(block(a, a) for a, _ in reversed(steps))
        self.leave = nn.Conv2d(widths[0], len(OUTPUTS) * finer**2, 1)

    @property
    def side_multiple(self) -> int:
        """The sides of its planes are multiples of this."""
        return int(self.finer * 2 ** (len(self.shifts) - 1))

    def forward(self, planes: Tensor, facts: Tensor) -> Tensor:
        """Logits of ``OUTPUTS``, of each what is said of the four points of a pixel at half the planes' scale."""
        known = self.facts(facts)
        shift = [layer(known) for layer in self.shifts]
        levels = [self.first(torch.relu(self.enter(planes)) + shift[0])]
        for down, level, moved in zip(self.down, self.level, shift[1:], strict=True):
            levels.append(level(down(levels[-1]) + moved))
        out = levels.pop()
        for up, join in zip(self.up, self.join, strict=True):
            larger = nn.functional.interpolate(up(out), scale_factor=2.0, mode="nearest")
            out = join(larger + levels.pop())
        return self.leave(out)


def deepened(network: FaceNetwork, widths: Sequence[int]) -> FaceNetwork:
    """The network with coarser levels of these widths added, which at first change nothing of its answer (``eval``)."""
    deeper = FaceNetwork([*widths_of(network.state_dict()), *widths], network.finer)
    state = {}
    for name, value in network.state_dict().items():
        part, _, rest = name.partition(".")
        if part in ("up", "join"):  # counted from the coarsest level on
            number, _, rest = rest.partition(".")
            rest = f"{int(number) + len(widths)}.{rest}"
        state[f"{part}.{rest}"] = value
    deeper.load_state_dict(state, strict=False)
    with torch.no_grad():
        for up, join in zip(deeper.up[: len(widths)], deeper.join[: len(widths)], strict=True):
            nn.init.zeros_(up.weight)
            nn.init.zeros_(up.bias)
            nn.init.dirac_(join[0].weight)  # what comes in is above zero, so a block that keeps it changes nothing
    return deeper


def widened(network: FaceNetwork, widths: Sequence[int]) -> FaceNetwork:
    """The network with more channels in its levels, which at first change nothing of its answer (``eval``).

    What was there keeps its weights; what is new sees everything and is heard by nobody yet (widening that preserves
    the function: Chen, Goodfellow & Shlens 2016, Net2Net, arXiv 1511.05641, by zeros in place of copies; from memory).
    """
    wider = FaceNetwork(widths, network.finer)
    state = wider.state_dict()
    for name, old in network.state_dict().items():
        new = state[name]
        if new.ndim == 0:
            new.copy_(old)
            continue
        if new.ndim == 4:  # rows that were there do not hear the new columns
            new[: old.shape[0], old.shape[1] :] = 0
        new[tuple(slice(0, n) for n in old.shape)] = old
    wider.load_state_dict(state)
    return wider


def widths_of(state: Mapping[str, Tensor]) -> tuple[int, ...]:
    """Channels of each level, finest first, of the network whose weights these are."""
    levels = (f"shifts.{n}.bias" for n in range(len(state)))
    return tuple(len(state[name]) for name in levels if name in state)


def finer_of(state: Mapping[str, Tensor]) -> int:
    """``finer`` of the network whose weights these are."""
    return (int(state["enter.weight"].shape[-1]) + 1) // 2


def network_of(state: Mapping[str, Tensor]) -> FaceNetwork:
    """The network whose weights these are; outputs that it does not have begin at a probability of 0.05."""
    network = FaceNetwork(widths_of(state), finer_of(state))
    own = dict(state)
    missing = len(network.leave.bias) - len(own["leave.bias"])
    if missing > 0:
        weight = own["leave.weight"]
        own["leave.weight"] = torch.cat([weight, weight.new_zeros(missing, *weight.shape[1:])])
        own["leave.bias"] = torch.cat([own["leave.bias"], own["leave.bias"].new_full((missing,), -3.0)])
    network.load_state_dict(own)
    return network


def at_planes_scale(answer: Tensor) -> Tensor:
    """A network's answer (N, outputs x 4, h / 2, w / 2) with the points where they lie: (N, outputs, h, w)."""
    return nn.functional.pixel_shuffle(answer, math.isqrt(answer.shape[1] // len(OUTPUTS)))
