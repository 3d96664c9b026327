"""The segmenter's network: a small encoder and decoder over the planes of a face, told a few facts about the whole."""

import torch
from torch import Tensor, nn

from vision.surface.segmenter_input import FACTS, PLANES

#: What each output plane says: three classes that exclude each other, then two that stand alone.
OUTPUTS = ("bare", "colonised", "contaminated", "coloured", "veiled")
#: By how much the answer is finer than the finest level.
FINER = 2


def block(inputs: int, outputs: int, stride: int = 1) -> nn.Sequential:
    """A convolution of 3 x 3, its outputs brought to one scale, and what is above zero of them."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, 1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU(inplace=True)
    )


class FaceNetwork(nn.Module):
    """Planes (N, 8, h, w) and facts (N, 16, 1, 1) to logits (N, 5 x 4, h / 2, w / 2), see ``at_planes_scale``.

    Four levels, each half as fine as the one before; at the coarsest a pixel is about 11 mm. The facts shift every
    level, so that one set of filters serves a dark agar and a golden straw. All work is done at half the planes' scale
    or below; the last layer says of each pixel there what its four points are (Shi et al. 2016, Real-time single image
    and video super-resolution using an efficient sub-pixel convolutional neural network, CVPR; from memory).
    """

    def __init__(self, widths: tuple[int, int, int, int] = (16, 32, 56, 72)) -> None:
        super().__init__()
        a, b, c, d = widths
        self.facts = nn.Sequential(nn.Conv2d(FACTS, 64, 1), nn.ReLU(), nn.Conv2d(64, 64, 1), nn.ReLU())
        self.shifts = nn.ModuleList(nn.Conv2d(64, n, 1) for n in widths)
        self.enter = nn.Conv2d(PLANES, a, 3, 2, 1)
        self.first = block(a, a)
        self.down1, self.level1 = block(a, b, 2), block(b, b)
        self.down2, self.level2 = block(b, c, 2), block(c, c)
        self.down3, self.level3 = block(c, d, 2), block(d, d)
        self.up3, self.join2 = nn.Conv2d(d, c, 1), block(c, c)
        self.up2, self.join1 = nn.Conv2d(c, b, 1), block(b, b)
        self.up1, self.join0 = nn.Conv2d(b, a, 1), block(a, a)
        self.leave = nn.Conv2d(a, len(OUTPUTS) * FINER**2, 1)

    def forward(self, planes: Tensor, facts: Tensor) -> Tensor:
        """Logits of ``OUTPUTS``, of each what is said of the four points of a pixel at half the planes' scale."""
        known = self.facts(facts)
        shift = [layer(known) for layer in self.shifts]
        x0 = self.first(torch.relu(self.enter(planes)) + shift[0])
        x1 = self.level1(self.down1(x0) + shift[1])
        x2 = self.level2(self.down2(x1) + shift[2])
        x3 = self.level3(self.down3(x2) + shift[3])
        y2 = self.join2(self._larger(self.up3(x3)) + x2)
        y1 = self.join1(self._larger(self.up2(y2)) + x1)
        y0 = self.join0(self._larger(self.up1(y1)) + x0)
        return self.leave(y0)  # type: ignore[no-any-return]

    @staticmethod
    def _larger(x: Tensor) -> Tensor:
        return nn.functional.interpolate(x, scale_factor=2.0, mode="nearest")


def at_planes_scale(answer: Tensor) -> Tensor:
    """A network's answer (N, 5 x 4, h / 2, w / 2) with the points where they lie: (N, 5, h, w)."""
    return nn.functional.pixel_shuffle(answer, FINER)
