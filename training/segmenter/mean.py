"""The mean of several networks' weights, written as a model file.

    python -m training.segmenter.mean --out FILE.onnx --weights BEGUN.pt:2 ONE.pt:1 OTHER.pt:1 [--anew DIR]

Networks that began with the same weights and learned for a short time lie in one valley of the loss: between them it
is no higher, and their mean keeps more of what the first had learned of pictures unlike the last ones (Wortsman et al.
2022, Model soups, arXiv 2203.05482, and Robust fine-tuning of zero-shot models, arXiv 2109.01903; from memory).

The mean with a network that ``recover`` made trainable answers as neither does, as its blocks have other spreads:
``--anew`` takes the means and spreads of its blocks anew, over faces that ``collect`` wrote to DIR.
"""

import argparse
from collections.abc import Iterable, Mapping, Sequence
from itertools import islice
from pathlib import Path

import torch
from torch import Tensor, nn

from training.segmenter.batches import batches, put_on_device
from training.segmenter.collect import load_examples, load_textures
from training.segmenter.dataset import Batch
from training.segmenter.network import FaceNetwork, network_of
from training.segmenter.train import answer_of, write_model

#: Batches over which the blocks' means and spreads are taken anew, and faces in each.
_BATCHES, _SIZE = 16, 32


def mean_of(states: Sequence[Mapping[str, Tensor]], shares: Sequence[float]) -> dict[str, Tensor]:
    """The mean of weights of one shape, each counted by its share (of any sum); counters are those of the first."""
    total = sum(shares)

    def mean(name: str, first: Tensor) -> Tensor:
        if not first.dtype.is_floating_point:
            return first
        return torch.stack([share / total * one[name] for one, share in zip(states, shares, strict=True)]).sum(0)

    return {name: mean(name, first) for name, first in states[0].items()}


def take_spreads_anew(network: FaceNetwork, data: Iterable[Batch]) -> None:
    """Give every block of the network the mean and spread that its convolution has over these batches, in place."""
    for part in network.modules():
        if isinstance(part, nn.BatchNorm2d):
            part.reset_running_stats()
            part.momentum = None  # the plain mean over all batches
    network.train()
    with torch.no_grad():
        for batch in data:
            answer_of(network, batch)
    network.eval()


def _file_and_share(text: str) -> tuple[Path, float]:
    path, _, share = text.rpartition(":")
    return Path(path), float(share)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--weights", nargs="+", type=_file_and_share, required=True, help="FILE.pt:SHARE")
    parser.add_argument("--anew", type=Path, help="faces over which the blocks' means and spreads are taken anew")
    arguments = parser.parse_args()
    files, shares = zip(*arguments.weights, strict=True)
    states = [network_of(torch.load(path, map_location="cpu")).state_dict() for path in files]
    network = network_of(mean_of(states, shares))
    if arguments.anew:
        faces = put_on_device(load_examples(arguments.anew), "cpu")
        textures = torch.from_numpy(load_textures(arguments.anew))
        take_spreads_anew(network, islice(batches(faces, textures, _SIZE, 0, as_drawn=0.85), _BATCHES))
    torch.save(network.state_dict(), arguments.out.with_suffix(".pt"))
    write_model(network, arguments.out)


if __name__ == "__main__":
    main()
