"""Frames drawn without a renderer: a face in a vessel of any shape before a wall, with film or glass around it."""

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import LABELS
from training.outliner.frames import FrameExample
from training.segmenter.faces import DrawnFace, draw_face
from training.segmenter.noise import Field, Rng, rough_noise, smooth_noise
from vision.face.cut_out import frame_mm, usual_sides
from vision.face.find_labelled import planes_px_per_mm
from vision.face.find_unlabelled import ALONE_ROWS, alone_sides
from vision.records import VesselSpec, kind_of

_CORNERS = 64
#: Share of frames without a vessel, or with an empty one.
_EMPTY = 0.15


def draw_frame(rng: Rng) -> FrameExample:
    """Draw one frame: a bag with its label on it, a jar above its label, or either alone in a picture."""
    kind = "bag" if rng.random() < 0.7 else "jar"
    spec = VesselSpec("", kind)
    usual = kind_of(spec)
    scale = 2 * planes_px_per_mm(spec)
    if rng.random() < 0.25:
        shape = (2 * ALONE_ROWS, 2 * int(ALONE_ROWS * rng.uniform(0.7, 1.4)))
        sides = alone_sides(spec, (shape[0] // 2, shape[1] // 2))
        group, spread = "alone", 0.25
    else:
        _, _, width_mm, height_mm = frame_mm(spec)
        shape = (round(height_mm * scale) // 2 * 2, round(width_mm * scale) // 2 * 2)
        left, top, right, bottom = (side * scale / 2 for side in usual_sides(spec))
        sides, group, spread = (left, top, right, bottom), usual.label_place, 0.09
    left, top, right, bottom = (2 * side for side in sides)
    width, height = (right - left) * np.exp(rng.normal(0, spread)), (bottom - top) * np.exp(rng.normal(0, spread))
    middle = (
        (left + right) / 2 + rng.normal(0, 0.04) * shape[1],
        (bottom if kind == "jar" else top)
        + (-height if kind == "jar" else height) / 2
        + rng.normal(0, 0.03) * shape[0],
    )
    there = rng.random() > _EMPTY
    inside = _filled(shape, _form(rng, width, height, middle, rng.uniform(0.03, 0.3)))
    light = _wall(rng, shape)
    if there or rng.random() < 0.5:
        light = _film(rng, light, width, height, middle) if kind == "bag" else _glass(rng, light, width, height, middle)
    if there:
        face = _face_picture(rng, kind, (max(4, round(height * 1.15)), max(4, round(width * 1.15))))
        light = _laid(light, face, middle, inside)
    else:
        inside[:] = False
    label = np.zeros(shape, np.bool_)
    if group != "alone" or rng.random() < 0.3:
        at = (
            (shape[1] / 2, sides[1] * 2 + 49 * scale)
            if kind == "bag" and group != "alone"
            else (middle[0], middle[1] - 0.25 * height)
            if kind == "bag"
            else (shape[1] / 2 if group != "alone" else middle[0], bottom + 35 * scale)
        )
        light, label = _sticker(rng, light, at, scale)
    shown = np.zeros_like(label) if group == "alone" else label
    masks = np.dstack([inside, shown, np.ones_like(label)]).astype(np.uint8) * 255
    return FrameExample(group, np.clip(light, 0, 4).astype(np.float16), masks, sides)


def _form(rng: Rng, width: float, height: float, middle: tuple[float, float], corner: float) -> NDArray[np.float64]:
    """Corners (N, 2) of a rounded box with wavy sides."""
    radius = corner * min(width, height)
    angles = (np.arange(_CORNERS) + 0.5) * (2 * np.pi / _CORNERS)
    across, down = np.cos(angles), np.sin(angles)
    x = np.sign(across) * (width / 2 - radius) + radius * across
    y = np.sign(down) * (height / 2 - radius) + radius * down
    slant = rng.normal(0, 0.03) * y
    points = []
    for start, stop in zip(
        np.column_stack([x + slant, y]), np.roll(np.column_stack([x + slant, y]), -1, 0), strict=True
    ):
        points += list(start + (stop - start) * np.linspace(0, 1, 8, endpoint=False)[:, None])
    outline = np.array(points)
    wave = rng.uniform(0, 0.02) * min(width, height) * smooth_noise(rng, (1, len(outline)), 40)[0]
    outline += wave[:, None] * outline / np.maximum(np.linalg.norm(outline, axis=1, keepdims=True), 1)
    return np.asarray(outline + np.array(middle))


def _filled(shape: tuple[int, int], outline: NDArray[np.float64]) -> NDArray[np.bool_]:
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(outline * 16).astype(np.int32)], 1, shift=4)
    return mask > 0


def _any_colour(rng: Rng, spread: float) -> Field:
    level = np.exp(rng.uniform(np.log(0.03), np.log(0.85)))
    return np.asarray(level * np.exp(rng.normal(0, spread, 3)), np.float32)


def _wall(rng: Rng, shape: tuple[int, int]) -> Field:
    """A wall with uneven light, a shelf below it, and objects on the shelf."""
    light = np.ones((*shape, 3), np.float32) * _any_colour(rng, 0.15)
    edge = int(rng.uniform(0.7, 1.1) * shape[0])
    light[edge:] = _any_colour(rng, 0.2)
    for _ in range(int(rng.integers(0, 5))):
        size = rng.uniform(0.1, 0.6, 2) * shape[0]
        box = cv2.boxPoints(
            (tuple(rng.uniform(0, shape[1], 2) * [1, shape[0] / shape[1]]), tuple(size), rng.normal(0, 6))
        )
        cv2.fillConvexPoly(light, np.round(box).astype(np.int32), [float(v) for v in _any_colour(rng, 0.25)])
    light *= np.exp(rng.uniform(0, 0.3) * smooth_noise(rng, shape, rng.uniform(60, 300)))[..., None]
    grain = 1 + rng.uniform(0, 0.2) * rough_noise(rng, shape, rng.uniform(3, 40))
    return np.asarray(light * np.maximum(grain, 0.05)[..., None], np.float32)


def _film(rng: Rng, light: Field, width: float, height: float, middle: tuple[float, float]) -> Field:
    """Empty folded film above the face: the background, veiled, with streaks of light."""
    tall = rng.uniform(0.05, 0.8) * height
    top = middle[1] - height / 2
    sheet = _filled(light.shape[:2], _form(rng, width * rng.uniform(0.7, 1.02), tall * 2, (middle[0], top), 0.05))
    streaks = np.maximum(rough_noise(rng, light.shape[:2], rng.uniform(8, 50)), 0) * rng.uniform(0, 0.5)
    veil = rng.uniform(0, 0.35) * np.maximum(1 + 0.4 * smooth_noise(rng, light.shape[:2], 40), 0)
    film = light * (1 - veil)[..., None] + (veil * rng.uniform(0.2, 0.9) + streaks)[..., None]
    return np.where(sheet[..., None], film, light).astype(np.float32)


def _glass(rng: Rng, light: Field, width: float, height: float, middle: tuple[float, float]) -> Field:
    """Empty glass and a lid above the face, and the edge of the glass around the face."""
    empty = rng.uniform(0.02, 0.4) * height
    edge = rng.uniform(1, 5)
    top = middle[1] - height / 2 - empty
    wall = _filled(
        light.shape[:2],
        _form(rng, width + 2 * edge, height + empty + 2 * edge, (middle[0], middle[1] - empty / 2), 0.08),
    )
    out = light.copy()
    out[wall] = out[wall] * rng.uniform(0.6, 1) + rng.uniform(0, 0.15)
    ring = wall & ~cv2.erode(wall.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=max(1, int(edge))).astype(
        bool
    )
    out[ring] = out[ring] * rng.uniform(0.3, 1) + rng.uniform(0, 0.4)
    lid = rng.uniform(0.08, 0.22) * height
    box = np.zeros(light.shape[:2], np.uint8)
    half = width / 2 * rng.uniform(0.8, 1.1)
    cv2.rectangle(
        box, (round(middle[0] - half), round(top - lid)), (round(middle[0] + half), round(top)), 1, -1
    )  # fmt: skip
    out[box > 0] = _any_colour(rng, 0.2)
    return out


def _face_picture(rng: Rng, kind: str, shape: tuple[int, int]) -> Field:
    face: DrawnFace = draw_face(rng)
    while face.kind != kind:
        face = draw_face(rng)
    return np.asarray(cv2.resize(face.linear_rgb, (shape[1], shape[0]), interpolation=cv2.INTER_AREA), np.float32)


def _laid(light: Field, face: Field, middle: tuple[float, float], inside: NDArray[np.bool_]) -> Field:
    """The picture with the face drawn inside the vessel, its edge soft and shaded."""
    move = np.array([[1, 0, middle[0] - face.shape[1] / 2], [0, 1, middle[1] - face.shape[0] / 2]], np.float64)
    placed = cv2.warpAffine(face, move, (light.shape[1], light.shape[0]), borderMode=cv2.BORDER_REPLICATE)
    soft = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), 0.7)[..., None]
    deep = cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 3)
    shaded = placed * np.clip(0.55 + 0.45 * deep / 8, 0, 1).astype(np.float32)[..., None]
    return np.asarray(light * (1 - soft) + shaded * soft, np.float32)


def _sticker(rng: Rng, light: Field, at: tuple[float, float], scale: float) -> tuple[Field, NDArray[np.bool_]]:
    """A white label with a code and grey patches, drawn roughly, since the label's place is an input of the network."""
    label = LABELS["normal"]
    corner = (at[0] - label.width_mm * scale / 2, at[1] - label.height_mm * scale / 2)
    sticker = np.full(
        (round(label.height_mm * scale), round(label.width_mm * scale)), rng.uniform(0.7, 0.95), np.float32
    )
    side = round(25 * scale)
    code = rng.integers(0, 2, (21, 21)).astype(np.float32) * 0.75 + 0.05
    margin = round(4 * scale)
    sticker[margin : margin + side, margin : margin + side] = cv2.resize(
        code, (side, side), interpolation=cv2.INTER_AREA
    )[: sticker.shape[0] - margin, : sticker.shape[1] - margin]
    turn = cv2.getRotationMatrix2D((sticker.shape[1] / 2, sticker.shape[0] / 2), rng.normal(0, 4), 1.0)
    turn[:, 2] += np.array(corner)
    full = (light.shape[1], light.shape[0])
    stuck = cv2.warpAffine(np.ones_like(sticker), turn, full) > 0.5
    out = light.copy()
    out[stuck] = cv2.warpAffine(sticker, turn, full)[stuck][:, None]
    return out, stuck
