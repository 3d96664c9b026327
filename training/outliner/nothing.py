"""Pictures without a vessel, in which none must be found: photographed materials, drawn objects, rings."""

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.outliner.frames import FrameExample
from training.segmenter.noise import Rng, rough_noise, smooth_noise
from vision.face.find_unlabelled import ALONE_ROWS, alone_sides
from vision.records import VesselSpec

_KINDS = ("bag", "jar", "plate", "block")


def no_vessel(rng: Rng, textures: list[NDArray[np.uint8]]) -> FrameExample:
    """A picture without a vessel; textures: photographs of materials (rows, columns, 3) to use in it, if any."""
    rows, columns = 2 * ALONE_ROWS, 2 * round(ALONE_ROWS * rng.uniform(0.65, 1.6))
    light = _ground(rng, (rows, columns), textures)
    for _ in range(int(rng.integers(0, 9))):
        light = _with_thing(rng, light, textures)
    level = float(np.quantile(light.max(axis=2), 0.97)) * 1.1
    light = np.clip(light / max(level, 1e-3), 0, 1.2)
    spec = VesselSpec("", _KINDS[int(rng.integers(len(_KINDS)))])
    masks = np.zeros((rows, columns, 3), np.uint8)
    masks[..., 2] = 255
    return FrameExample("alone", light.astype(np.float16), masks, alone_sides(spec, (rows // 2, columns // 2)))


def read_textures(folder: Path) -> list[NDArray[np.uint8]]:
    """The pictures in a folder, RGB."""
    found = [cv2.imread(str(path), cv2.IMREAD_COLOR) for path in sorted(folder.glob("*.jpg"))]
    return [np.ascontiguousarray(one[..., ::-1], np.uint8) for one in found if one is not None]


def _ground(rng: Rng, shape: tuple[int, int], textures: list[NDArray[np.uint8]]) -> NDArray[np.float32]:
    if textures and rng.random() < 0.6:
        return _photographed(rng, shape, textures)
    plain = (rng.uniform(0.02, 0.9) * np.exp(rng.normal(0, 0.3, 3))).astype(np.float32)
    uneven = rng.uniform(0, 0.5) * smooth_noise(rng, shape, rng.uniform(40, 250))
    grain = rng.uniform(0, 0.4) * rough_noise(rng, shape, rng.uniform(2, 60))
    return np.asarray(plain * np.exp(uneven + grain)[..., None], np.float32)


def _photographed(rng: Rng, shape: tuple[int, int], textures: list[NDArray[np.uint8]]) -> NDArray[np.float32]:
    """A part of a photographed material with its light changed."""
    picture = textures[int(rng.integers(len(textures)))]
    side = int(min(picture.shape[:2]) * rng.uniform(0.25, 1.0))
    top, left = (int(rng.integers(0, picture.shape[i] - side + 1)) for i in (0, 1))
    part = cv2.resize(picture[top : top + side, left : left + side], shape[::-1], interpolation=cv2.INTER_AREA)
    tint = np.exp(rng.normal(0, 0.3) + rng.normal(0, 0.12, 3))
    return np.asarray((part.astype(np.float32) / 255) ** 2.2 * tint, np.float32)


def _with_thing(rng: Rng, light: NDArray[np.float32], textures: list[NDArray[np.uint8]]) -> NDArray[np.float32]:
    """A box, disc, ring, blob, line or word over the ground, plain, grained or of a photographed material."""
    rows, columns = light.shape[:2]
    mask = np.zeros((rows, columns), np.uint8)
    at = (int(rng.integers(columns)), int(rng.integers(rows)))
    size = int(np.exp(rng.uniform(np.log(8), np.log(0.5 * rows))))
    form = int(rng.integers(6))
    if form == 0:
        box = cv2.boxPoints((at, (2 * size, 2 * size * rng.uniform(0.3, 1.5)), rng.uniform(0, 180)))
        cv2.fillPoly(mask, [box.astype(np.int32)], 255, cv2.LINE_AA)
    elif form in (1, 2):
        axes = (size, max(2, int(size * rng.uniform(0.6, 1))))
        cv2.ellipse(mask, at, axes, rng.uniform(0, 180), 0, 360, 255, -1 if form == 1 else int(rng.integers(1, 12)))
    elif form == 3:
        blob = rough_noise(rng, (rows, columns), size)
        mask = (255 * (blob > rng.uniform(0.8, 2.0))).astype(np.uint8)
    elif form == 4:
        end = (int(rng.integers(columns)), int(rng.integers(rows)))
        cv2.line(mask, at, end, 255, int(rng.integers(1, 30)), cv2.LINE_AA)
    else:
        word = "".join(rng.choice(list("abcdefghiklmnoprstuvw ,.0123456789"), 24))
        for line in range(int(rng.integers(1, 9))):
            place = (at[0] - 100, at[1] + 34 * line)
            cv2.putText(mask, word, place, int(rng.integers(0, 8)), rng.uniform(0.4, 1.4), 255, 2, cv2.LINE_AA)
    over = _ground(rng, (rows, columns), textures)
    share = cv2.GaussianBlur(mask, (0, 0), rng.uniform(0.3, 2.5)).astype(np.float32)[..., None] / 255
    return np.asarray(light + (over - light) * share * np.float32(rng.uniform(0.4, 1.0)), np.float32)
