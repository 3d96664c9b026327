"""Random variations of frames for training: place, growth, background and light."""

import cv2
import numpy as np
from numpy.typing import NDArray

from training.outliner.frames import FrameExample
from training.segmenter.noise import Rng, rough_noise, smooth_noise
from vision.face.outline_network import USUAL_PX, outline_planes

#: Probability of each variation.
_FLIPPED, _RELABELLED, _OTHERWISE_GROWN, _OTHER_WALL, _CUT_OFF, _BLURRED = 0.5, 0.35, 0.45, 0.4, 0.2, 0.3
_TAKEN_AWAY = 0.06
#: Spread of place (in usual sizes), of size and aspect ratio (natural logarithm), of rotation (degrees).
_PLACE, _SIZE, _ASPECT, _TURN = 0.05, 0.09, 0.05, 2.5
#: Spread of exposure and of each channel's light (natural logarithm), and of noise (shares of white).
_EXPOSURE, _CAST, _NOISE = 0.3, 0.09, 0.02
_FACE, _LABEL, _SEEN = range(3)


def vary(rng: Rng, example: FrameExample) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """One variation: planes (P, h, w), true share of face and weight, each (h / 2, w / 2)."""
    light, masks = example.light.astype(np.float32), example.masks
    if rng.random() < _FLIPPED:
        light, masks = light[:, ::-1], masks[:, ::-1]
    middle = (example.usual[0] + example.usual[2], example.usual[1] + example.usual[3])
    if masks[..., _LABEL].any() and example.group == "on_face" and rng.random() < _RELABELLED:
        light, masks = _relabelled(rng, light, masks)
    light, masks = _moved(rng, light, masks, middle)
    if rng.random() < _TAKEN_AWAY:
        light, masks = _without_vessel(rng, light, masks)
    if rng.random() < _OTHERWISE_GROWN:
        light = _with_other_growth(rng, light, masks)
    if rng.random() < _OTHER_WALL:
        light = _other_wall(rng, light, masks)
    light = light * np.exp(rng.normal(0, _EXPOSURE) + rng.normal(0, _CAST, 3)).astype(np.float32)
    if rng.random() < _BLURRED:
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), rng.uniform(0.4, 1.6)), np.float32)
    light = light + np.float32(rng.uniform(0, _NOISE)) * rng.standard_normal((*light.shape[:2], 1), np.float32)
    # The part beyond the photo's border counts too: the network is to predict how much of the face is missing.
    known = masks[..., _SEEN]
    if rng.random() < _CUT_OFF:
        masks = _cut_off(rng, masks)
    half = (masks.shape[1] // 2, masks.shape[0] // 2)
    shares = np.asarray(cv2.resize(masks, half, interpolation=cv2.INTER_AREA), np.float32) / np.float32(255)
    # As in the program, where light outside the photo is black.
    light = light * (masks[..., _SEEN] > 127)[..., None]
    planes = outline_planes(np.maximum(light, 0), shares[..., _LABEL], shares[..., _SEEN], example.usual)
    target = np.asarray(cv2.resize(shares[..., _FACE], None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.float32)
    small = cv2.resize(known, target.shape[::-1], interpolation=cv2.INTER_AREA)
    weight = np.asarray(small, np.float32) / np.float32(255)
    return planes, target, weight


def _moved(
    rng: Rng, light: NDArray[np.float32], masks: NDArray[np.uint8], middle: tuple[float, float]
) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
    """The frame as it would be cut for a vessel of another size and place, rotated a little."""
    size, aspect = np.exp(rng.normal(0, _SIZE)), np.exp(rng.normal(0, _ASPECT))
    turn = np.radians(rng.normal(0, _TURN))
    across, down = size * aspect, size / aspect
    slope = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ np.diag([across, down])
    shift = np.array(middle) + rng.normal(0, _PLACE, 2) * 2 * USUAL_PX - slope @ np.array(middle)
    move = np.column_stack([slope, shift])
    full = (light.shape[1], light.shape[0])
    moved = cv2.warpAffine(light, move, full, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(moved, np.float32), np.asarray(cv2.warpAffine(masks, move, full), np.uint8)


def _relabelled(
    rng: Rng, light: NDArray[np.float32], masks: NDArray[np.uint8]
) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
    """The frame with the label moved on the face, so that the face lies elsewhere in the frame cut around the label."""
    rows, columns = np.nonzero(masks[..., _LABEL])
    top, left, bottom, right = rows.min() - 3, columns.min() - 3, rows.max() + 4, columns.max() + 4
    height, width = bottom - top, right - left
    face_rows, face_columns = np.nonzero(masks[..., _FACE])
    if top < 0 or left < 0 or not len(face_rows) or np.ptp(face_rows) < 2.2 * height:
        return light, masks
    sticker, where = light[top:bottom, left:right].copy(), masks[top:bottom, left:right, _LABEL].copy()
    # The place that the label hid is filled with a mirror image of the part below it.
    below = light[bottom : bottom + height, left:right][::-1]
    if below.shape != sticker.shape:
        return light, masks
    bare, free = light.copy(), masks.copy()
    bare[top:bottom, left:right] = below
    free[..., _LABEL] = 0
    new_top = int(rng.uniform(face_rows.min(), face_rows.max() - height))
    new_left = int(rng.uniform(face_columns.min(), max(face_columns.max() - width, face_columns.min() + 1)))
    new_left = min(new_left, light.shape[1] - width)
    place = (slice(new_top, new_top + height), slice(new_left, new_left + width))
    stuck = where > 127
    bare[place][stuck] = sticker[stuck]
    free[place][stuck, _LABEL] = 255
    move = np.array([[1, 0, left - new_left], [0, 1, top - new_top]], np.float64)
    full = (light.shape[1], light.shape[0])
    moved = cv2.warpAffine(bare, move, full, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(moved, np.float32), np.asarray(cv2.warpAffine(free, move, full), np.uint8)


def _with_other_growth(rng: Rng, light: NDArray[np.float32], masks: NDArray[np.uint8]) -> NDArray[np.float32]:
    """The face with a part or all of it in white or any other colour, keeping some of its shading."""
    shape = light.shape[:2]
    face = (masks[..., _FACE] > 127) & (masks[..., _LABEL] < 128)
    if not face.any():
        return light
    colour = rng.uniform(0.35, 0.95) * np.array([1, rng.uniform(0.92, 1), rng.uniform(0.75, 1)], np.float32)
    if rng.random() < 0.25:
        colour = rng.uniform(0.02, 0.9, 3).astype(np.float32)
    reach = _growth_field(rng, shape)
    edge = rng.uniform(0.5, 8)
    opacity = np.clip(
        (reach - np.float32(np.quantile(reach[face][::7], rng.uniform(0, 1)))) / np.float32(edge) + 0.5, 0, 1
    )
    opacity *= face * np.float32(rng.uniform(0.75, 1))
    level = float(light[face].mean()) + 1e-3
    shade = (light[..., 1] / np.float32(level)) ** np.float32(rng.uniform(0, 0.5))
    fluff = 1 + np.float32(rng.uniform(0, 0.08)) * smooth_noise(rng, shape, rng.uniform(2, 12))
    grown = colour * (np.clip(shade, 0.4, 1.6) * fluff)[..., None]
    return np.asarray(light + (grown - light) * opacity[..., None], np.float32)


def _growth_field(rng: Rng, shape: tuple[int, int]) -> NDArray[np.float32]:
    """A field whose high values are grown first: a level or slanting front, straight or wavy, or patches."""
    if rng.random() < 0.6:
        angle = rng.choice([0.0, np.pi / 2, np.pi, -np.pi / 2]) + rng.normal(0, 0.15)
        rows, columns = (np.arange(n, dtype=np.float32) for n in shape)
        wave = smooth_noise(rng, shape, rng.uniform(15, 80)) * np.float32(rng.choice([0.0, 2.0, 8.0, 20.0]))
        return np.float32(np.cos(angle)) * columns + np.float32(np.sin(angle)) * rows[:, None] + wave
    return rough_noise(rng, shape, rng.uniform(30, 120)) * np.float32(20)


def _without_vessel(
    rng: Rng, light: NDArray[np.float32], masks: NDArray[np.uint8]
) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
    """A plain wall with the label, if there is one, and no vessel."""
    masks = masks.copy()
    masks[..., _FACE] = 0
    plain = (rng.uniform(0.03, 0.9) * np.exp(rng.normal(0, 0.12, 3))).astype(np.float32)
    uneven = np.exp(np.float32(rng.uniform(0, 0.2)) * smooth_noise(rng, light.shape[:2], rng.uniform(40, 200)))
    grain = 1 + np.float32(rng.uniform(0, 0.15)) * rough_noise(rng, light.shape[:2], rng.uniform(2, 60))
    wall = plain * (uneven * np.maximum(grain, 0.1))[..., None]
    return np.where(masks[..., _LABEL, None] > 127, light, wall).astype(np.float32), masks


def _other_wall(rng: Rng, light: NDArray[np.float32], masks: NDArray[np.uint8]) -> NDArray[np.float32]:
    """The frame with a background of another colour and sometimes texture, from light to dark."""
    around = 1 - masks[..., _FACE].astype(np.float32)[..., None] / 255
    label = masks[..., _LABEL] > 127
    tint = np.exp(rng.normal(0, 0.5) + rng.normal(0, 0.15, 3)).astype(np.float32)
    wall = light * tint
    if rng.random() < 0.5:
        plain = (rng.uniform(0.03, 0.9) * np.exp(rng.normal(0, 0.12, 3))).astype(np.float32)
        grain = 1 + np.float32(rng.uniform(0, 0.25)) * rough_noise(rng, light.shape[:2], rng.uniform(3, 60))
        wall = wall + (plain * np.maximum(grain, 0.1)[..., None] - wall) * np.float32(rng.uniform(0.3, 1))
    changed = light + (wall - light) * around
    changed[label] = light[label]
    return np.asarray(changed, np.float32)


def _cut_off(rng: Rng, masks: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The frame with one side outside the photo."""
    masks = masks.copy()
    share = rng.uniform(0.02, 0.6)
    rows, columns = (max(1, round(share * n)) for n in masks.shape[:2])
    side = int(rng.integers(4))
    where = (slice(rows), slice(-rows, None), (slice(None), slice(columns)), (slice(None), slice(-columns, None)))[side]
    masks[where] = 0
    return masks
