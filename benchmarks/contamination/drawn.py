"""Drawn faces as single first photos: many moulds and many clean faces, like those the segmenter is trained on."""

from collections.abc import Sequence

import cv2
import numpy as np

from benchmarks.contamination.looks import Flag, Look
from calibration import Kind
from training.segmenter.faces import DrawnFace, draw_face
from training.segmenter.substrates import PX_PER_MM
from vision.pixels.colour import linear_to_srgb
from vision.surface.bare_substrate import learn_baseline
from vision.surface.segment import segment_face
from vision.surface.suspects import colour_word

_NEAR_MM = 4.0


def drawn_looks(count: int, seed: int) -> list[Look]:
    """Drawn faces, each read alone; with a seed that training does not use they are new faces of the same kind."""
    rng = np.random.default_rng([seed, 90_210])
    return [_look(draw_face(rng), number) for number in range(count)]


def _look(face: DrawnFace, number: int) -> Look:
    kind: Kind = face.kind  # one of the kinds by its maker
    bare = face.bare_rgb
    baseline = None if bare is None else learn_baseline(bare, face.inside, referenced=face.referenced)
    seen = segment_face(
        face.linear_rgb, face.inside, PX_PER_MM, kind=kind, baseline=baseline, referenced=face.referenced
    )
    coloured, foul = face.coloured & face.inside, face.contaminated & face.inside
    reach = 2 * round(_NEAR_MM * PX_PER_MM) + 1
    near = cv2.dilate(foul.astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0
    flags = tuple(
        Flag(one.colour, min(max(one.score, 0.03), 0.97), one.area_cm2, (), bool((one.mask & near).any()))
        for one in seen.suspects
    )
    area = 1 / PX_PER_MM**2 / 100
    colour = colour_word(np.median(face.linear_rgb[coloured], axis=0)) if coloured.any() else ""
    largest = _largest(coloured)
    return Look(
        "drawn", f"{number}", kind, kind, 5.0, float(foul.sum()) * area, largest * area, colour, True, flags,
        picture=_picture(face, foul, [one.mask for one in seen.suspects]),
    )  # fmt: skip


def _largest(mask: np.ndarray) -> float:
    count, _, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    return float(stats[1:, cv2.CC_STAT_AREA].max()) if count > 1 else 0.0


def _picture(face: DrawnFace, foul: np.ndarray, flags: Sequence[np.ndarray]) -> bytes:
    """The face as JPEG, contamination outlined in white and flags in red."""
    light = (
        face.linear_rgb if face.referenced else face.linear_rgb / max(float(np.quantile(face.linear_rgb, 0.98)), 0.05)
    )
    bgr = np.ascontiguousarray((linear_to_srgb(np.clip(light, 0, 1)) * 255).astype(np.uint8)[..., ::-1])
    for mask, colour in [(foul, (255, 255, 255)), *((one, (60, 60, 255)) for one in flags)]:
        contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        cv2.drawContours(bgr, contours, -1, colour, 1)
    _, jpeg = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 80])
    return bytes(jpeg)
