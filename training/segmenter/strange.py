"""Grounds that are no substrate, bare or with growth, and broad bands of a mould's colour: what more training forgets.

Rendered scenes and drawn faces show what growers fill vessels with. A network that learns much from them, and nothing
else, reads gravel or grass as it likes, and a mould wider than any that it was shown comes out in pieces.
"""

import numpy as np

from training.segmenter.faces import DrawnFace, draw_face
from training.segmenter.growths import MOULD_COLOURS
from training.segmenter.noise import Field, Rng, ridges, rough_noise, smooth_noise, stretched_noise
from training.segmenter.substrates import PX_PER_MM

#: A face must have this much colonised, percent, to be worth a band.
_ENOUGH_PERCENT = 25.0
#: Share of a face's height that a band takes.
_BAND = (0.08, 0.5)


def strange_ground(rng: Rng) -> DrawnFace:
    """A face filled with stones, blades, walls or noise of any contrast, grey or tinted; nothing grows on it."""
    shape = (round(rng.uniform(90, 200) * PX_PER_MM), round(rng.uniform(80, 170) * PX_PER_MM))
    cell = float(np.exp(rng.uniform(np.log(1.5), np.log(30)))) * PX_PER_MM
    draw = (_stones, _blades, _walls, _roughness)[int(rng.integers(4))]
    texture = draw(rng, shape, cell) + rng.uniform(0, 0.5) * smooth_noise(rng, shape, rng.uniform(1, 3) * PX_PER_MM / 2)
    level = rng.uniform(-2.2, -0.5) + rng.uniform(0.3, 0.9) * texture / np.float32(texture.std() + 1e-6)
    level += rng.uniform(0, 0.4) * smooth_noise(rng, shape, 60 * PX_PER_MM)
    tint = rng.normal(0, 0.15) * np.array([1.0, 0.2, -1.2]) if rng.random() < 0.5 else np.zeros(3)
    light = np.clip(np.exp(level[..., None] + tint), 0.004, 1.1).astype(np.float32)
    nothing = np.zeros(shape, np.bool_)
    kind = str(rng.choice(["bag", "jar"]))
    return DrawnFace(kind, light, None, bool(rng.random() < 0.3), ~nothing, nothing, nothing, nothing, nothing)


def strange_substrate(rng: Rng) -> DrawnFace:
    """A strange ground on which pale round patches of growth lie, each with its own rough face."""
    ground = strange_ground(rng)
    shape = ground.inside.shape
    least = float(np.exp(rng.uniform(np.log(3), np.log(15)))) * PX_PER_MM
    opacity = np.zeros(shape, np.float32)
    rows, columns = np.indices(shape, np.float32)
    for _ in range(int(rng.integers(1, 30))):
        radius = least * rng.uniform(1, 2)
        away = np.hypot(rows - rng.uniform(0, shape[0]), columns - rng.uniform(0, shape[1]))
        edge = rng.uniform(0.5, 1.5) * PX_PER_MM
        opacity = np.maximum(opacity, np.clip((radius - away) / edge + 0.5, 0, 1))
    light = ground.linear_rgb.astype(np.float32)
    usual = float(np.log(np.quantile(light.mean(axis=2), 0.7)))
    level = min(-0.1, usual + rng.uniform(0.6, 1.6))
    rough = rng.uniform(0.05, 0.35) * rough_noise(rng, shape, rng.uniform(1, 8) * PX_PER_MM, 3)
    pale = np.clip(np.exp(level + rough), 0.01, 1.1)
    picture = light + opacity[..., None] * (pale[..., None] - light)
    return DrawnFace(
        ground.kind, picture.astype(np.float32), None, ground.referenced, ground.inside,
        opacity > 0.5, ground.contaminated, ground.coloured, ground.veiled,
    )  # fmt: skip


def broad_band(rng: Rng) -> DrawnFace:
    """A drawn face of which a broad level band of mycelium has taken the colour of a mould."""
    face = draw_face(rng)
    while face.kind == "plate" or face.percent < _ENOUGH_PERCENT or face.contaminated.any():
        face = draw_face(rng)
    rows = face.inside.shape[0]
    height = round(rows * rng.uniform(*_BAND))
    top = int(rng.integers(0, rows - height))
    band = np.zeros(face.inside.shape, np.bool_)
    band[top : top + height] = True
    band &= face.colonised
    colour = MOULD_COLOURS[str(rng.choice([name for name in MOULD_COLOURS if name not in ("grey", "black")]))]
    tone = np.mean(colour, axis=0)
    tint = np.asarray(tone / tone.max(), np.float32)
    strength = rng.uniform(0.4, 1.0)
    picture = np.where(band[..., None], face.linear_rgb * tint ** np.float32(strength), face.linear_rgb)
    return DrawnFace(
        face.kind, picture.astype(np.float32), face.bare_rgb, face.referenced, face.inside,
        face.colonised & ~band, band, band, face.veiled,
    )  # fmt: skip


def _stones(rng: Rng, shape: tuple[int, int], cell: float) -> Field:
    """Lumps, each with its own grey, with dark joints between them."""
    lumps = rough_noise(rng, shape, cell, 2)
    return np.asarray(np.round(2 * lumps) / 2 - 1.5 * ridges(rng, shape, cell), np.float32)


def _blades(rng: Rng, shape: tuple[int, int], cell: float) -> Field:
    """Streaks over each other in a few directions."""
    turn, ratio = rng.uniform(0, 180), rng.uniform(4, 12)
    layers = [stretched_noise(rng, shape, max(2.0, cell / 4), ratio, turn + rng.normal(0, 35)) for _ in range(3)]
    return np.max(layers, axis=0).astype(np.float32)


def _walls(rng: Rng, shape: tuple[int, int], cell: float) -> Field:
    """Courses of rectangles with joints."""
    high, wide = max(4.0, cell), max(8.0, 2 * cell)
    rows, columns = np.indices(shape, np.float32)
    course = np.floor(rows / high)
    place = columns + (course % 2) * wide / 2
    greys = rng.standard_normal((shape[0] // int(high) + 3, shape[1] // int(wide) + 4)).astype(np.float32)
    joint = (rows % high < 0.12 * high) | (place % wide < 0.06 * wide)
    own = greys[course.astype(int), np.floor(place / wide).astype(int)]
    return np.where(joint, np.float32(rng.normal(0, 2)), 0.6 * own) + 0.5 * rough_noise(rng, shape, cell / 4)


def _roughness(rng: Rng, shape: tuple[int, int], cell: float) -> Field:
    return rough_noise(rng, shape, cell, int(rng.integers(2, 6)), rng.uniform(0.5, 1.0))
