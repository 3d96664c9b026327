"""What the program takes for the faces in a photo of a scene, by labels at their true places."""

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.segmenter.noise import Rng
from training.segmenter.scenes import true_label, true_label_size
from vision.photo.measure import cut_out, find_face, upright_angle
from vision.photo.measure_face import MIN_CONFIDENCE
from vision.records import VesselSpec


def program_outlines(
    rgb: NDArray[np.uint8], photo: dict[str, Any], specs: dict[str, VesselSpec], rng: Rng
) -> dict[str, NDArray[np.bool_]]:
    """Masks (rows, columns) of the faces that the program finds by a photo's labels, by vessel, less the labels."""
    vessels = {one["id"]: one for one in photo["vessels"] if "label_corners" in one}
    labels = {name: true_label(one, rng) for name, one in vessels.items()}
    angle = upright_angle(list(labels.values()))
    outlines = {}
    for name, label in labels.items():
        cut = cut_out(rgb, label, angle, replace(specs[name], label_size=true_label_size(vessels[name])))
        found = find_face(cut)
        if found.confidence >= MIN_CONFIDENCE:
            there = np.zeros(rgb.shape[:2], np.uint8)
            found.frame.paste(there, (found.inside & ~found.label).astype(np.uint8))
            outlines[name] = there > 0
    return outlines
