"""Networks read back from a model file: the scaling that became part of each convolution is made apart again."""

from collections.abc import Iterable

import torch
from torch import Tensor, nn


def take_scaled(convolution: nn.Conv2d, weight: Tensor, bias: Tensor) -> None:
    """Give a convolution that has no bias a file's weights; the bias waits for ``put_scaling_back``."""
    convolution.weight.copy_(weight)
    convolution.folded_bias = bias


def put_scaling_back(network: nn.Module, passes: Iterable[object]) -> None:
    """Give each block's scaling the means and spreads of its convolution's outputs, and undo what that changes.

    passes: each item taken is one run of the network; the network answers as before afterwards.
    """
    blocks = [one for one in network.modules() if isinstance(one, nn.Sequential) and isinstance(one[1], nn.BatchNorm2d)]
    pairs = [(one[0], one[1]) for one in blocks]
    sums: dict[nn.Module, Tensor] = {}

    def note(module: nn.Module, _: tuple[Tensor, ...], output: Tensor) -> None:
        points = output.transpose(0, 1).flatten(1).double()
        now = torch.stack([torch.full_like(points[:, 0], points.shape[1]), points.sum(1), points.square().sum(1)])
        sums[module] = sums.get(module, 0) + now

    for convolution, norm in pairs:
        norm.weight.data.fill_(1.0)
        norm.bias.data.copy_(convolution.folded_bias)
        norm.running_mean.zero_()
        norm.running_var.fill_(1.0 - norm.eps)
    hooks = [convolution.register_forward_hook(note) for convolution, _ in pairs]
    network.eval()
    with torch.no_grad():
        for _ in passes:
            pass
        for convolution, norm in pairs:
            count, total, squares = sums[convolution]
            mean = total / count
            variance = (squares / count - mean**2).clamp_min(1e-6)
            norm.weight.copy_(torch.sqrt(variance + norm.eps))
            norm.bias.add_(mean.float())
            norm.running_mean.copy_(mean)
            norm.running_var.copy_(variance)
    for hook in hooks:
        hook.remove()
