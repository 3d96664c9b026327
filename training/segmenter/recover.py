"""Make the shipped model file trainable again, so that a new one can begin with what it knows.

    python -m training.segmenter.recover --out FILE.pt --examples DIR [--model vision/surface/segmenter.onnx]

When a model file is written, the scaling of each block becomes part of its convolution. Here it is put back as the mean
and the spread that the convolution's outputs have over some batches: the network answers as the file does.
"""

import argparse
from collections.abc import Iterable
from itertools import islice
from pathlib import Path

import onnx
import torch
from onnx import numpy_helper
from torch import Tensor, nn

from training.scaling import put_scaling_back, take_scaled
from training.segmenter.batches import batches, put_on_device
from training.segmenter.collect import load_examples, load_textures
from training.segmenter.dataset import Batch
from training.segmenter.network import FaceNetwork, finer_of, widths_of
from training.segmenter.train import answer_of

#: Batches over which means and spreads are taken, and faces in each.
_BATCHES, _SIZE = 12, 24


def recover(path: Path, data: Iterable[Batch]) -> FaceNetwork:
    """The network of a model file; output planes that the file does not have begin at a probability of 0.05."""
    graph = onnx.load(str(path)).graph
    values = {one.name: torch.from_numpy(numpy_helper.to_array(one).copy()) for one in graph.initializer}
    network = FaceNetwork(widths_of(values), finer_of(values))
    named = _modules_by_old_name(network)
    with torch.no_grad():
        for node in graph.node:
            if node.op_type == "Conv":
                _take(named[node.name.split("/")[-2]], values[node.input[1]], values[node.input[2]])
    put_scaling_back(network, (answer_of(network, batch) for batch in data))
    return network


def _modules_by_old_name(network: FaceNetwork) -> dict[str, nn.Module]:
    """Convolutions by the names of version 0.2.0, which numbered levels from the finest, 0, on."""
    named = dict(network.named_modules())
    last = len(network.down)
    for n in range(last):
        named[f"down{n + 1}.0"], named[f"level{n + 1}.0"] = network.down[n][0], network.level[n][0]
        named[f"up{last - n}"], named[f"join{last - n - 1}.0"] = network.up[n], network.join[n][0]
    return named


def _take(module: nn.Module, weight: Tensor, bias: Tensor) -> None:
    if module.bias is not None:
        module.weight[: len(weight)] = weight
        module.bias[: len(bias)] = bias
        if len(weight) < len(module.weight):  # planes that are new: below a tenth, until they are taught
            module.weight[len(weight) :] = 0
            module.bias[len(bias) :] = -3.0
        return
    take_scaled(module, weight, bias)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--examples", type=Path, required=True, help="folder that collect wrote")
    parser.add_argument("--model", type=Path, default=Path("vision/surface/segmenter.onnx"))
    arguments = parser.parse_args()
    faces = put_on_device(load_examples(arguments.examples), "cpu")
    data = batches(faces, torch.from_numpy(load_textures(arguments.examples)), _SIZE, seed=0)
    torch.save(recover(arguments.model, islice(data, _BATCHES)).state_dict(), arguments.out)


if __name__ == "__main__":
    main()
