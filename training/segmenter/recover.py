"""The segmenter's weights ready to be trained further, from its model file, into which blocks' scaling was folded."""

from collections.abc import Iterable
from pathlib import Path

import onnx
import torch
from onnx import numpy_helper
from torch import Tensor, nn

from training.segmenter.dataset import Batch
from training.segmenter.network import FaceNetwork


def recover(path: Path, batches: Iterable[Batch]) -> FaceNetwork:
    """A network that answers as the model file does, ready to be trained further.

    A block's scaling became part of its convolution when the file was written. It is put back as the mean and the
    spread that the convolution's outputs have over ``batches``, so that training starts from the same answers.
    """
    network = FaceNetwork()
    graph = onnx.load(path).graph
    values = {tensor.name: torch.from_numpy(numpy_helper.to_array(tensor).copy()) for tensor in graph.initializer}
    state = network.state_dict()
    state.update({name: value for name, value in values.items() if name in state})
    network.load_state_dict(state)
    blocks = [module for module in network.modules() if isinstance(module, nn.Sequential) and len(module) == 3
              and isinstance(module[1], nn.BatchNorm2d)]  # fmt: skip
    folded = iter([values[name] for node in graph.node if node.op_type == "Conv" and node.input[1] not in state
                   for name in node.input[1:3]])  # fmt: skip
    with torch.no_grad():
        for convolution, norm, _ in blocks:
            convolution.weight.copy_(next(folded))
            norm.bias.copy_(next(folded))
            norm.running_var.fill_(1 - norm.eps)
    _put_scaling_back([(block[0], block[1]) for block in blocks], network, batches)
    return network


def _put_scaling_back(
    pairs: list[tuple[nn.Conv2d, nn.BatchNorm2d]], network: FaceNetwork, batches: Iterable[Batch]
) -> None:
    sums: dict[nn.Module, list[Tensor]] = {}

    def take(module: nn.Module, _: tuple[Tensor, ...], output: Tensor) -> None:
        points = output.transpose(0, 1).flatten(1).double()
        now = torch.stack([torch.ones_like(points[:, 0]) * points.shape[1], points.sum(1), points.square().sum(1)])
        sums[module] = [now + sums[module][0]] if module in sums else [now]

    hooks = [convolution.register_forward_hook(take) for convolution, _ in pairs]
    network.eval()
    with torch.no_grad():
        for batch in batches:
            network(batch.planes, batch.facts)
        for convolution, norm in pairs:
            count, total, squares = sums[convolution][0]
            mean = (total / count).float()
            variance = (squares / count).float() - mean**2
            norm.weight.copy_(torch.sqrt(variance + norm.eps))
            norm.bias.add_(mean)
            norm.running_mean.copy_(mean)
            norm.running_var.copy_(variance)
    for hook in hooks:
        hook.remove()
