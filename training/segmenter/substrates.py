"""Bare substrates, drawn: sawdust, straw, grain, coir, agar, and mixtures that nobody has named."""

from dataclasses import dataclass

import cv2
import numpy as np

from training.segmenter.noise import Field, Rng, rough_noise, smooth_noise

#: Scale of every drawn face, px per mm.
PX_PER_MM = 3.0


@dataclass(frozen=True, eq=False)
class Surface:
    """albedo: linear (H, W, 3), 0-1; height: (H, W), about 0-1, for shading and for what grows over it."""

    albedo: Field
    height: Field


@dataclass(frozen=True)
class Pieces:
    """One population of pieces: mean length and width in mm, number per cm2, colours as rows of linear RGB."""

    length_mm: float
    width_mm: float
    per_cm2: float
    colours: Field
    round_ends: bool


def warm_colour(rng: Rng, luminance: float, saturation: float) -> Field:
    """A brown, tan or yellow of given luminance (linear, 0-1); saturation 0-1 takes blue away."""
    green = rng.uniform(0.3, 0.75)
    colour = np.array([1.0, 1.0 - saturation * (1 - green), 1.0 - saturation], np.float32)
    colour *= luminance / float(colour @ np.array([0.2126, 0.7152, 0.0722], np.float32))
    return np.minimum(colour, 0.98)


def _palette(rng: Rng, count: int, luminance: float, contrast: float, saturation: float) -> Field:
    rows = [
        warm_colour(
            rng,
            float(np.clip(luminance * np.exp(contrast * rng.standard_normal()), 0.006, 0.75)),
            float(np.clip(saturation + 0.12 * rng.standard_normal(), 0.02, 0.97)),
        )
        for _ in range(count)
    ]
    return np.stack(rows)


def _scatter(rng: Rng, shape: tuple[int, int], populations: list[Pieces], ground: Field) -> Surface:
    """Paint pieces in random order over a ground, later ones on top; a piece's number gives its colour and height."""
    area_cm2 = shape[0] * shape[1] / PX_PER_MM**2 / 100
    ids = np.zeros(shape, np.float32)
    tables, shapes = [ground[None]], []
    for pieces in populations:
        count = int(min(area_cm2 * pieces.per_cm2, 16000))
        first = sum(len(t) for t in tables)
        colours = pieces.colours[rng.integers(0, len(pieces.colours), count)]
        tables.append(colours * np.exp(rng.uniform(0.1, 0.35) * rng.standard_normal((count, 1))).astype(np.float32))
        spots = rng.uniform(0, 1, (count, 2)) * (shape[1], shape[0])
        lengths = pieces.length_mm * np.exp(0.3 * rng.standard_normal(count)) * PX_PER_MM
        widths = pieces.width_mm * np.exp(0.25 * rng.standard_normal(count)) * PX_PER_MM
        shapes.append(
            np.c_[
                spots,
                lengths,
                np.minimum(widths, lengths),
                rng.uniform(0, 180, count),
                first + np.arange(count),
                np.full(count, pieces.round_ends),
            ]
        )
    order = np.concatenate(shapes)
    rng.shuffle(order)
    for x, y, length, width, angle, number, is_round in order:
        if is_round:
            axes = (max(1, round(length / 2)), max(1, round(width / 2)))
            corners = np.array(cv2.ellipse2Poly((round(x), round(y)), axes, round(angle), 0, 360, 45))
        else:
            corners = cv2.boxPoints(((x, y), (length, width), angle)).astype(np.int32)
        cv2.fillConvexPoly(ids, corners, float(number))
    number = ids.astype(np.int32)
    table = np.concatenate(tables)
    edge = cv2.morphologyEx(ids, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)) > 0
    bulge = cv2.blur(1 - edge.astype(np.float32), (5, 5))
    levels = rng.uniform(0, 1, len(table)).astype(np.float32)
    levels[0] = 0
    height = 0.5 * levels[number] + 0.5 * bulge
    dark = 1 - rng.uniform(0.2, 0.85) * cv2.blur(edge.astype(np.float32), (2, 2))
    return Surface((table[number] * dark[..., None]).astype(np.float32), height.astype(np.float32))


def sawdust(rng: Rng, shape: tuple[int, int]) -> Surface:
    """Dark to mid brown chips of several sizes, some light, some orange, now and then pale grains of spawn."""
    luminance = float(np.exp(rng.uniform(np.log(0.035), np.log(0.3))))
    chips = _palette(rng, 12, luminance, rng.uniform(0.2, 0.7), rng.uniform(0.4, 0.85))
    size = rng.uniform(1.2, 3.2)
    populations = [Pieces(size, size * 0.6, 28 / size, chips, bool(rng.random() < 0.5))]
    light = _palette(rng, 5, min(0.6, luminance * rng.uniform(2, 5)), 0.3, rng.uniform(0.3, 0.7))
    populations.append(
        Pieces(size * rng.uniform(1, 2.2), size * rng.uniform(0.5, 1.2), rng.uniform(0.2, 3), light, rng.random() < 0.5)
    )
    if rng.random() < 0.6:
        orange = np.array([[rng.uniform(0.25, 0.6), rng.uniform(0.08, 0.2), rng.uniform(0.01, 0.06)]], np.float32)
        populations.append(Pieces(size * rng.uniform(1, 2.5), size, rng.uniform(0.05, 0.6), orange, rng.random() < 0.5))
    if rng.random() < 0.4:
        populations.append(_spawn_grains(rng))
    return _scatter(rng, shape, populations, warm_colour(rng, luminance * 0.4, 0.6))


def _spawn_grains(rng: Rng) -> Pieces:
    pale = _palette(rng, 4, rng.uniform(0.25, 0.7), 0.15, rng.uniform(0.1, 0.5))
    return Pieces(rng.uniform(3, 7), rng.uniform(2, 3.5), rng.uniform(0.05, 0.5), pale, True)


def straw(rng: Rng, shape: tuple[int, int]) -> Surface:
    """Golden to grey-brown stalks, light and of low contrast."""
    luminance = rng.uniform(0.12, 0.6)
    stalks = _palette(rng, 14, luminance, rng.uniform(0.15, 0.45), rng.uniform(0.3, 0.8))
    width = rng.uniform(1.5, 5)
    populations = [Pieces(width * rng.uniform(5, 14), width, 14 / width, stalks, False)]
    if rng.random() < 0.3:
        populations.append(_spawn_grains(rng))
    surface = _scatter(rng, shape, populations, warm_colour(rng, luminance * 0.3, 0.6))
    stripes = 1 + 0.06 * rough_noise(rng, shape, 6, 3)
    return Surface((surface.albedo * stripes[..., None]).astype(np.float32), surface.height)


def grain(rng: Rng, shape: tuple[int, int]) -> Surface:
    """Rye, wheat, millet or sorghum: round or long kernels, tan to reddish, dark gaps."""
    length = rng.uniform(2, 8)
    width = length * rng.uniform(0.35, 1.0)
    luminance = rng.uniform(0.08, 0.5)
    kernels = _palette(rng, 10, luminance, rng.uniform(0.1, 0.4), rng.uniform(0.35, 0.85))
    surface = _scatter(
        rng, shape, [Pieces(length, width, 260 / (length * width), kernels, True)], warm_colour(rng, 0.02, 0.5)
    )
    shade = 0.55 + 0.6 * cv2.GaussianBlur(surface.height, (0, 0), 1.2)
    return Surface((surface.albedo * shade[..., None]).astype(np.float32), surface.height)


def coir(rng: Rng, shape: tuple[int, int]) -> Surface:
    """Dark brown crumb with fine fibres, or any fine dark compost."""
    luminance = float(np.exp(rng.uniform(np.log(0.015), np.log(0.12))))
    fibres = _palette(rng, 10, luminance, rng.uniform(0.2, 0.6), rng.uniform(0.35, 0.75))
    crumbs = Pieces(rng.uniform(0.8, 2), rng.uniform(0.7, 1.5), 12, fibres, True)
    threads = Pieces(rng.uniform(6, 20), 0.5, 8, fibres * np.float32(rng.uniform(1, 2.5)), False)
    surface = _scatter(rng, shape, [crumbs, threads], warm_colour(rng, luminance, 0.6))
    mottled = np.exp(0.25 * rough_noise(rng, shape, 8, 4))
    return Surface((surface.albedo * mottled[..., None]).clip(0, 0.9).astype(np.float32), surface.height)


def agar(rng: Rng, shape: tuple[int, int]) -> Surface:
    """A smooth plate of agar: amber, cream, brown, near black; clear or white; tinted with a food dye."""
    form = rng.random()
    if form < 0.25:
        neutral = float(np.exp(rng.uniform(np.log(0.02), np.log(0.85))))
        colour = neutral * np.exp(rng.normal(0, 0.04, 3)).astype(np.float32)
    elif form < 0.4:
        colour = rng.uniform(0.02, 0.8, 3).astype(np.float32)
    elif form < 0.6:
        colour = warm_colour(rng, float(np.exp(rng.uniform(np.log(0.006), np.log(0.1)))), rng.uniform(0.05, 0.7))
    else:
        luminance = rng.uniform(0.15, 0.7)
        colour = warm_colour(rng, luminance, rng.uniform(0.1 + 0.35 * luminance, 0.95))
    if rng.random() < 0.08:
        colour = colour * rng.uniform(0.3, 1.0, 3).astype(np.float32)
    uneven = (
        1 + rng.uniform(0, 0.06) * smooth_noise(rng, shape, 60) + rng.uniform(0, 0.08) * smooth_noise(rng, shape, 2)
    )
    return Surface((colour * uneven[..., None]).clip(0.002, 0.95).astype(np.float32), np.full(shape, 0.5, np.float32))


def mixture(rng: Rng, shape: tuple[int, int]) -> Surface:
    """Pieces of any size, form and warm colour: the substrate that no list foresees."""
    luminance = float(np.exp(rng.uniform(np.log(0.02), np.log(0.5))))
    populations = []
    for _ in range(rng.integers(1, 4)):
        length = rng.uniform(1, 12)
        colours = _palette(rng, 8, luminance, rng.uniform(0.1, 0.8), rng.uniform(0.15, 0.9))
        populations.append(
            Pieces(length, length * rng.uniform(0.15, 1), 120 / (length * (length + 2)), colours, rng.random() < 0.5)
        )
    return _scatter(rng, shape, populations, warm_colour(rng, luminance * 0.5, 0.6))
