"""What the program takes for the faces in a photo of a scene, by labels at their true places."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import vessel_kinds
from training.outliner.frames import true_label, with_true_label_size
from training.segmenter.noise import Rng
from vision.face import Upright, find_dish, find_upright, label_mask, labelled_frame, tray_tilt, usual_sides
from vision.face.cut_out import label_geometry
from vision.label.white import white_at_label
from vision.photo.measure_face import MIN_CONFIDENCE
from vision.pixels.light import lit
from vision.records import VesselSpec


def program_outlines(
    rgb: NDArray[np.uint8], photo: dict[str, Any], specs: dict[str, VesselSpec], rng: Rng
) -> dict[str, NDArray[np.bool_]]:
    """Masks (rows, columns) of the faces that the program finds by a photo's labels, by vessel, less the labels."""
    vessels = {one["id"]: one for one in photo["vessels"] if "label_corners" in one}
    labels = {name: true_label(one, rng) for name, one in vessels.items()}
    found = {}
    for name, label in labels.items():
        spec = with_true_label_size(specs[name], vessels[name])
        white = white_at_label(rgb, label, label_geometry(spec))
        if white is None:
            continue
        frame = labelled_frame(spec, label, float(np.median([one.angle for one in labels.values()])))
        scene, seen = lit(frame.cut(rgb), white), frame.inside_photo(*rgb.shape[:2])
        sticker = label_mask(frame, spec, label)
        if vessel_kinds()[spec.kind].is_dish:
            outline, confidence = find_dish(spec, scene, seen, frame.px_per_mm, tilt=tray_tilt(spec, label, frame))
        else:
            outline, confidence = find_upright(Upright(spec, scene, seen, sticker, frame.px_per_mm, usual_sides(spec)))
        if confidence >= MIN_CONFIDENCE:
            there = np.zeros(rgb.shape[:2], np.uint8)
            frame.paste(there, (outline & ~sticker).astype(np.uint8))
            found[name] = there > 0
    return found
