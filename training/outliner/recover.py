"""Make the shipped model file trainable again, so that a new one can begin with what it knows.

python -m training.outliner.recover --out FILE.pt --frames DIR [--model vision/face/outliner.onnx]
"""

import argparse
from collections.abc import Iterable
from itertools import islice
from pathlib import Path

import onnx
import torch
from onnx import numpy_helper
from torch import Tensor

from training.outliner.collect import load_kept_frames
from training.outliner.network import FrameNetwork
from training.outliner.train import Stream
from training.scaling import put_scaling_back, take_scaled

#: Batches over which means and spreads are taken, and frames in each.
_BATCHES, _SIZE = 12, 16


def recover(path: Path, planes: Iterable[Tensor]) -> FrameNetwork:
    """The network of a model file, of the same widths as ``FrameNetwork``; planes: some batches, (N, P, h, w)."""
    graph = onnx.load(str(path)).graph
    values = {one.name: torch.from_numpy(numpy_helper.to_array(one).copy()) for one in graph.initializer}
    network = FrameNetwork()
    named = dict(network.named_modules())
    with torch.no_grad():
        for node in graph.node:
            if node.op_type != "Conv":
                continue
            module, weight, bias = named[node.name.split("/")[-2]], values[node.input[1]], values[node.input[2]]
            if module.bias is None:
                take_scaled(module, weight, bias)
            else:
                module.weight.copy_(weight)
                module.bias.copy_(bias)
    put_scaling_back(network, (network(one) for one in planes))
    return network


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--frames", type=Path, required=True, help="folder that collect wrote")
    parser.add_argument("--model", type=Path, default=Path("vision/face/outliner.onnx"))
    arguments = parser.parse_args()
    stream = iter(Stream(load_kept_frames(arguments.frames), _SIZE))
    network = recover(arguments.model, (batch[0] for batch in islice(stream, _BATCHES)))
    torch.save(network.state_dict(), arguments.out)


if __name__ == "__main__":
    main()
