"""Bare substrates as heaps of pieces with a height each: straw, grain, sawdust, coir. Agar is smooth."""

from dataclasses import dataclass

import numpy as np

from training.segmenter.noise import Field, Rng, rough_noise, smooth_noise


@dataclass(frozen=True, eq=False)
class Bed:
    """A bare surface laid flat. albedo: linear (H, W, 3), 0-1; height_mm: (H, W) above the deepest gap."""

    albedo: Field
    height_mm: Field
    px_per_mm: float


@dataclass(frozen=True)
class Sort:
    """One sort of piece.

    length_mm, width_mm: means; cover: how often the surface could be covered by this sort alone; colours: rows of
    linear RGB; power: 2 gives an ellipse, large a rectangle; depth: how round it stands, share of its width;
    streaks: contrast of the lines along it; crease: darkening of a line along its middle; spread: of brightness.
    """

    length_mm: float
    width_mm: float
    cover: float
    colours: tuple[tuple[float, float, float], ...]
    power: float = 2.0
    depth: float = 0.4
    streaks: float = 0.0
    crease: float = 0.0
    spread: float = 0.15


def heap(rng: Rng, size_mm: tuple[float, float], px_per_mm: float, sorts: tuple[Sort, ...], ground: Field) -> Bed:
    """Drop pieces on ``size_mm`` (rows, columns); at each point the piece that lies highest is seen."""
    shape = (round(size_mm[0] * px_per_mm), round(size_mm[1] * px_per_mm))
    top = np.zeros(shape, np.float32)
    colour = np.broadcast_to(ground, (*shape, 3)).astype(np.float32).copy()
    for sort in sorts:
        count = int(sort.cover * size_mm[0] * size_mm[1] / (sort.length_mm * sort.width_mm))
        for _ in range(count):
            _drop(rng, sort, px_per_mm, top, colour)
    worn = np.exp(0.06 * rough_noise(rng, shape, 8 * px_per_mm, 4)).astype(np.float32)
    gaps = np.clip(0.35 + 0.65 * top / max(float(np.quantile(top, 0.6)), 1e-3), 0.3, 1.0)
    return Bed(np.clip(colour * (worn * gaps)[..., None], 0.004, 0.9).astype(np.float32), top, px_per_mm)


def _drop(rng: Rng, sort: Sort, px_per_mm: float, top: Field, colour: Field) -> None:
    length = sort.length_mm * float(np.exp(0.25 * rng.standard_normal())) * px_per_mm / 2
    width = min(length, sort.width_mm * float(np.exp(0.2 * rng.standard_normal())) * px_per_mm / 2)
    row, column = rng.uniform(0, top.shape[0]), rng.uniform(0, top.shape[1])
    angle = rng.uniform(0, np.pi)
    cosine, sine = np.cos(angle), np.sin(angle)
    reach_row = abs(length * sine) + abs(width * cosine) + 1
    reach_column = abs(length * cosine) + abs(width * sine) + 1
    r0, r1 = max(0, int(row - reach_row)), min(top.shape[0], int(row + reach_row) + 2)
    c0, c1 = max(0, int(column - reach_column)), min(top.shape[1], int(column + reach_column) + 2)
    if r1 <= r0 or c1 <= c0:
        return
    rows = np.arange(r0, r1, dtype=np.float32)[:, None] - row
    columns = np.arange(c0, c1, dtype=np.float32)[None] - column
    along = (columns * cosine + rows * sine) / length
    across = (rows * cosine - columns * sine) / width
    inside = np.abs(along) ** sort.power + np.abs(across) ** sort.power
    round_mm = sort.depth * width / px_per_mm
    height = round_mm * (rng.uniform(0.0, 2.0) + np.sqrt(np.clip(1 - inside, 0, 1))) + 0.3 * along * round_mm
    window = (slice(r0, r1), slice(c0, c1))
    seen = (inside < 1) & (height > top[window])
    if not seen.any():
        return
    base = np.array(sort.colours[rng.integers(len(sort.colours))], np.float32)
    base = base * float(np.exp(sort.spread * rng.standard_normal()))
    shade = 1 - 0.35 * np.clip(inside, 0, 1) ** 3
    if sort.streaks:
        waves = rng.uniform(4, 16, 3)
        lines = sum(np.sin(wave * across + 2 * along + rng.uniform(0, 6)) for wave in waves) / 3
        shade = shade * (1 + sort.streaks * lines)
    if sort.crease:
        shade = shade * (1 - sort.crease * np.exp(-((across / 0.12) ** 2)))
    top[window][seen] = height[seen]
    colour[window][seen] = (base * shade[..., None])[seen]


def agar(rng: Rng, size_mm: tuple[float, float], px_per_mm: float, colour: tuple[float, float, float]) -> Bed:
    """A smooth agar of one colour, a little uneven."""
    shape = (round(size_mm[0] * px_per_mm), round(size_mm[1] * px_per_mm))
    uneven = 1 + 0.03 * smooth_noise(rng, shape, 20 * px_per_mm) + 0.012 * rough_noise(rng, shape, 1.5 * px_per_mm, 3)
    albedo = np.array(colour, np.float32) * uneven[..., None].astype(np.float32)
    return Bed(np.clip(albedo, 0.004, 0.9).astype(np.float32), np.zeros(shape, np.float32), px_per_mm)


SPAWN = Sort(6.0, 3.2, 0.035, ((0.62, 0.50, 0.33), (0.55, 0.42, 0.26)), depth=0.5, crease=0.2)
#: Largest sorts first; colours are linear RGB.
SUBSTRATES: dict[str, tuple[tuple[Sort, ...], tuple[float, float, float]]] = {
    "straw": (
        (
            Sort(34, 4.2, 2.6, ((0.52, 0.37, 0.15), (0.60, 0.46, 0.22), (0.44, 0.31, 0.13)), 8, 0.35, 0.10),
            Sort(22, 2.6, 1.2, ((0.62, 0.50, 0.27), (0.38, 0.26, 0.11), (0.55, 0.41, 0.18)), 8, 0.4, 0.12),
            Sort(9, 3.6, 0.25, ((0.66, 0.55, 0.33),), 6, 0.2, 0.08),
        ),
        (0.16, 0.10, 0.04),
    ),
    "coir": (
        (
            Sort(2.2, 1.7, 2.4, ((0.055, 0.032, 0.018), (0.075, 0.045, 0.026), (0.04, 0.024, 0.015)), 2.5, 0.5),
            Sort(16, 0.7, 0.35, ((0.15, 0.085, 0.045), (0.09, 0.05, 0.03)), 6, 0.5),
            Sort(4.0, 3.0, 0.12, ((0.11, 0.075, 0.05), (0.02, 0.014, 0.01)), 3, 0.4, spread=0.3),
        ),
        (0.025, 0.015, 0.009),
    ),
    "millet": (
        (Sort(2.5, 2.2, 2.8, ((0.62, 0.44, 0.17), (0.68, 0.52, 0.24), (0.55, 0.36, 0.13)), 2.0, 0.55),),
        (0.07, 0.04, 0.015),
    ),
    "sorghum": (
        (Sort(4.4, 3.9, 2.6, ((0.32, 0.13, 0.06), (0.42, 0.21, 0.10), (0.52, 0.33, 0.19)), 2.0, 0.55, spread=0.25),),
        (0.04, 0.018, 0.01),
    ),
    "hardwood": (
        (
            Sort(3.4, 2.0, 2.4, ((0.20, 0.115, 0.06), (0.27, 0.165, 0.09), (0.14, 0.08, 0.045)), 5, 0.3, 0.1, 0.0, 0.3),
            Sort(9.0, 5.0, 0.14, ((0.34, 0.22, 0.12), (0.24, 0.13, 0.07)), 6, 0.15, 0.1),
            Sort(8.0, 4.5, 0.05, ((0.50, 0.17, 0.03), (0.58, 0.24, 0.06)), 6, 0.18, 0.1),
            SPAWN,
        ),
        (0.07, 0.04, 0.022),
    ),
}  # fmt: skip
AGARS = {
    "cream agar": (0.66, 0.55, 0.33), "near-black agar": (0.018, 0.016, 0.015), "amber agar": (0.52, 0.28, 0.06),
    "brown agar": (0.20, 0.10, 0.04),
}  # fmt: skip


def bed(rng: Rng, substrate: str, size_mm: tuple[float, float], px_per_mm: float) -> Bed:
    """The bare surface of a named substrate, or of one drawn by number: ``any heap 17``, ``any agar 4``."""
    if substrate.startswith("any "):
        _, form, number = substrate.split()
        own = np.random.default_rng([20261127, int(number)])
        if form == "agar":
            return agar(rng, size_mm, px_per_mm, _any_agar(own))
        sorts, ground = _any_heap(own)
        return heap(rng, size_mm, px_per_mm, sorts, np.array(ground, np.float32))
    if substrate in AGARS:
        return agar(rng, size_mm, px_per_mm, AGARS[substrate])
    sorts, ground = SUBSTRATES[substrate]
    return heap(rng, size_mm, px_per_mm, sorts, np.array(ground, np.float32))


def _brown(rng: Rng, level: float, paleness: float) -> tuple[float, float, float]:
    """A brown, tan or gold: level is its red, linear 0-1; paleness 0 takes all blue away, 1 makes it grey."""
    blue = paleness * float(rng.uniform(0.7, 1.0)) if paleness < 1 else 1.0
    green = blue + (1 - blue) * float(rng.uniform(0.3, 0.75))
    return level, level * green, level * blue


def _any_agar(rng: Rng) -> tuple[float, float, float]:
    level = float(np.exp(rng.uniform(np.log(0.015), np.log(0.72))))
    form = rng.random()
    if form < 0.3:  # clear, white or grey
        red, green, blue = (float(v) for v in level * np.exp(rng.normal(0, 0.04, 3)))
        return red, green, blue
    if form < 0.45:  # dyed
        red, green, blue = (float(v) for v in rng.uniform(0.02, 0.7, 3))
        return red, green, blue
    paleness = rng.uniform(0.05, 0.6) if level > 0.06 else rng.uniform(0.3, 1.0)
    return _brown(rng, level, float(paleness))


def _any_heap(rng: Rng) -> tuple[tuple[Sort, ...], tuple[float, float, float]]:
    """Pieces between those of the named substrates and beyond: chips, stalks, kernels, crumb, with or without spawn."""
    level = float(np.exp(rng.uniform(np.log(0.03), np.log(0.7))))
    paleness = float(rng.uniform(0.08, 0.65))
    form = int(rng.choice(4))
    length, width, power = (
        (rng.uniform(1.5, 6), rng.uniform(1.2, 3.5), rng.uniform(3, 7)),
        (rng.uniform(9, 36), rng.uniform(1.5, 5), 8.0),
        (rng.uniform(2.2, 8), rng.uniform(2.0, 4.5), 2.0),
        (rng.uniform(1.5, 3), rng.uniform(1.2, 2.0), 2.5),
    )[form]

    def colours(count: int, spread: float) -> tuple[tuple[float, float, float], ...]:
        levels = np.clip(level * np.exp(rng.normal(0, spread, count)), 0.01, 0.8)
        pale = np.clip(paleness + rng.normal(0, 0.1, count), 0.03, 0.95)
        return tuple(_brown(rng, float(a), float(b)) for a, b in zip(levels, pale, strict=True))

    depth, spread = float(rng.uniform(0.2, 0.6)), float(rng.uniform(0.1, 0.35))
    streaks = float(rng.uniform(0, 0.15))
    main = Sort(length, min(width, length), 2.5, colours(4, 0.2), power, depth, streaks, spread=spread)
    sorts = [main]
    if rng.random() < 0.7:
        odd = (float(length * rng.uniform(0.5, 3)), float(width * rng.uniform(0.3, 1.6)))
        cover = float(np.exp(rng.uniform(np.log(0.05), np.log(1.0))))
        sorts.append(Sort(max(odd), min(odd), cover, colours(3, 0.5), float(rng.uniform(2, 8)), depth, 0.1))
    if form == 0 and rng.random() < 0.4:
        chips = ((0.50, 0.17, 0.03), (0.58, 0.24, 0.06))
        sorts.append(Sort(8.0, 4.5, float(rng.uniform(0.02, 0.1)), chips, 6, 0.18, 0.1))
    if form != 2 and rng.random() < 0.45:
        sorts.append(SPAWN)
    return tuple(sorts), _brown(rng, level * float(rng.uniform(0.1, 0.4)), paleness)
