"""The mean of several networks' weights, written as a model file.

    python -m training.segmenter.mean --out FILE.onnx --weights BEGUN.pt:2 ONE.pt:1 OTHER.pt:1

Networks that began with the same weights and learned for a short time lie in one valley of the loss: between them it
is no higher, and their mean keeps more of what the first had learned of pictures unlike the last ones (Wortsman et al.
2022, Model soups, arXiv 2203.05482, and Robust fine-tuning of zero-shot models, arXiv 2109.01903; from memory).
"""

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path

import torch
from torch import Tensor

from training.segmenter.train import read_network, write_model


def mean_of(states: Sequence[Mapping[str, Tensor]], shares: Sequence[float]) -> dict[str, Tensor]:
    """The mean of weights of one shape, each counted by its share (of any sum); counters are those of the first."""
    total = sum(shares)

    def mean(name: str, first: Tensor) -> Tensor:
        if not first.dtype.is_floating_point:
            return first
        return torch.stack([share / total * one[name] for one, share in zip(states, shares, strict=True)]).sum(0)

    return {name: mean(name, first) for name, first in states[0].items()}


def _file_and_share(text: str) -> tuple[Path, float]:
    path, _, share = text.rpartition(":")
    return Path(path), float(share)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--weights", nargs="+", type=_file_and_share, required=True, help="FILE.pt:SHARE")
    arguments = parser.parse_args()
    files, shares = zip(*arguments.weights, strict=True)
    network = read_network(files[0], "cpu")
    network.load_state_dict(mean_of([torch.load(path, map_location="cpu") for path in files], shares))
    torch.save(network.state_dict(), arguments.out.with_suffix(".pt"))
    write_model(network, arguments.out)


if __name__ == "__main__":
    main()
