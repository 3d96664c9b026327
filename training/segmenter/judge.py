"""How wrong a network's percent is on faces of scenes, true outlines given, each photo alone: by kind and hand.

python -m training.segmenter.judge FILE.pt --examples DIR [--only own|second] [--device cuda]
"""

import argparse
from collections import defaultdict
from pathlib import Path

import numpy as np
import torch

from training.segmenter.collect import load_examples
from training.segmenter.dataset import Batch, Example, planes_of
from training.segmenter.train import answer_of, read_network
from training.segmenter.view import COVERED
from vision.surface.segmenter_input import face_facts, in_one_exposure, stack_planes


def plain_batch(example: Example, *, first_photo: bool) -> Batch:
    """One face as it is, alone in its batch; first_photo: with the bare substrate of the vessel's first photo."""
    planes = planes_of(example)
    baseline = example.baseline if first_photo and example.referenced else None
    if not example.referenced:
        planes = in_one_exposure(planes)
    facts = face_facts(planes, plate=example.kind == "plate", baseline=baseline, referenced=example.referenced)
    stack = stack_planes(planes, baseline)
    arrays = (
        stack[None], facts[None, :, None, None], example.truth[None].astype(np.float32) / 255, planes.within[None],
        np.zeros(1, np.float32), np.array([example.hand == "second"], np.float32),
    )  # fmt: skip
    return Batch(*(torch.from_numpy(array) for array in arrays))


def _on_device(data: Batch, device: str) -> Batch:
    return Batch(*(one.to(device) for one in vars(data).values()))


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("weights", type=Path)
    parser.add_argument("--examples", type=Path, required=True)
    parser.add_argument("--only", choices=("own", "second"))
    parser.add_argument("--device", default="cpu")
    arguments = parser.parse_args()
    network = read_network(arguments.weights, arguments.device).eval()
    rows: dict[str, list[tuple[float, float, float, float]]] = defaultdict(list)
    for example in load_examples(arguments.examples, only=arguments.only):
        if example.fully_labelled:
            continue
        for first_photo in (False, True) if example.baseline is not None and example.referenced else (False,):
            data = _on_device(plain_batch(example, first_photo=first_photo), arguments.device)
            with torch.no_grad():
                answer = answer_of(network, data)
            share = data.truth / data.within.clamp_min(1e-3)[:, None]
            within = (data.within > 0.5) & (share[:, COVERED] < 0.5)
            said = (answer[:, :3].softmax(1)[:, 1] > 0.5) & within
            true = (share[:, 0] > 0.5) & within
            area = max(1, int(within.sum()))
            either = int((said | true).sum())
            overlap = int((said & true).sum()) / either if either > 40 else float("nan")
            doubt = float((answer[:, 5].sigmoid() * within).sum()) / area
            label = "labelled" if example.referenced else "alone"
            name = f"{example.hand} {example.kind} {label}{' with first photo' if first_photo else ''}"
            error = 100 * (int(said.sum()) - int(true.sum())) / area
            rows[name].append((error, overlap, 100 * doubt, float(example.truth[1].any())))
    for name, values in sorted(rows.items()):
        errors, overlaps, doubts, _ = np.array(values).T
        far = np.abs(errors)
        fits = np.corrcoef(far, doubts)[0, 1] if len(far) > 2 else float("nan")
        print(
            f"{name:40} n {len(far):5} error {far.mean():6.2f}  95 % {np.quantile(far, 0.95):6.2f}  bias"
            f" {errors.mean():+6.2f}  overlap {np.nanmean(overlaps):.3f}  doubt {doubts.mean():5.2f} ({fits:+.2f})"
        )


if __name__ == "__main__":
    main()
