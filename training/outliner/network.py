"""The outliner's network: an encoder and decoder whose coarsest level covers the whole frame."""

from itertools import pairwise

from torch import Tensor, nn

from training.segmenter.network import block
from vision.face.outline_network import PLANES


class FrameNetwork(nn.Module):
    """Planes (N, 7, h, w) to log odds of lying on the face (N, 1, h / 2, w / 2); h and w multiples of 32."""

    def __init__(self, widths: tuple[int, ...] = (14, 24, 36, 56, 72)) -> None:
        super().__init__()
        self.enter = nn.Sequential(block(PLANES, widths[0], 2), block(widths[0], widths[0]))
        steps = list(pairwise(widths))
        self.down = nn.ModuleList(nn.Sequential(block(a, b, 2), block(b, b)) for a, b in steps)
        self.deepest = block(widths[-1], widths[-1])
        self.up = nn.ModuleList(block(b, a) for a, b in reversed(steps))
        self.merge = nn.ModuleList(block(a, a) for a, _ in reversed(steps))
        self.leave = nn.Conv2d(widths[0], 1, 1)
        self.enlarge = nn.Upsample(scale_factor=2, mode="bilinear", align_corners=False)

    def forward(self, planes: Tensor) -> Tensor:
        """Log odds of planes."""
        levels = [self.enter(planes)]
        for down in self.down:
            levels.append(down(levels[-1]))
        out = self.deepest(levels.pop())
        for up, merge in zip(self.up, self.merge, strict=True):
            out = merge(self.enlarge(up(out)) + levels.pop())
        return self.leave(out)
