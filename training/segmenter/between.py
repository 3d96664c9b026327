"""Make a network that lies between an older one and what further training made of it, and write the model file.

    python -m training.segmenter.between OLD.onnx NEW.pt --out FILE.onnx [--share 0.8] [--photos DIR ...]

Training on more scenes of one making teaches their ways and forgets some of the older pictures; weights on the straight
line between the two networks often do well on both (Wortsman et al. 2022, Robust fine-tuning of zero-shot models, CVPR;
from memory). ``--photos`` and ``--cache`` as in the training: from such batches the scaling of blocks is measured anew.
"""

import argparse
from collections.abc import Iterable
from itertools import islice
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import nn

from training.segmenter.dataset import Batch
from training.segmenter.network import FaceNetwork
from training.segmenter.train import SCENE_SHARE, all_examples, batches, first_network, write_model

#: Batches from which the scaling of the blocks is measured.
MEASURING = 80


def between(old: FaceNetwork, new: FaceNetwork, share: float, measured_on: Iterable[Batch]) -> FaceNetwork:
    """The network ``share`` (0-1) of the way from the old weights to the new ones."""
    older, newer, network = old.state_dict(), new.state_dict(), FaceNetwork()
    mixed = {
        name: torch.lerp(older[name], value, share) if value.dtype.is_floating_point else value
        for name, value in newer.items()
    }
    network.load_state_dict(mixed)
    for module in network.modules():
        if isinstance(module, nn.BatchNorm2d):
            module.reset_running_stats()
            module.momentum = None  # a plain mean over all batches
    network.train()
    with torch.no_grad():
        for data in measured_on:
            network(data.planes.to(memory_format=torch.channels_last), data.facts)
    return network.eval()


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("old", type=Path)
    parser.add_argument("new", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--share", type=float, default=0.8, help="of the way from the old network to the new one")
    parser.add_argument("--faces", type=int, default=2600)
    parser.add_argument("--photos", type=Path, nargs="*", default=[])
    parser.add_argument("--cache", type=Path)
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    examples = all_examples(arguments.faces, arguments.photos, arguments.cache)
    scenes = SCENE_SHARE if arguments.photos else 0.0
    torch.manual_seed(0)
    old, new = (first_network(path, examples, scenes) for path in (arguments.old, arguments.new))
    measured_on = islice(batches(examples, np.random.default_rng(3), scenes), MEASURING)
    write_model(between(old, new, arguments.share, measured_on), arguments.out)


if __name__ == "__main__":
    main()
