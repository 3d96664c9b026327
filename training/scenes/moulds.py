"""Moulds on a bed: the form in which a colony spreads, the finish that it takes on, and how it is laid over the bed.

Also harmless things that look like moulds: brown skin, droplets, bruises, tinges, pins.
"""

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from training.segmenter.noise import Field, Rng, ridges, rough_noise, smooth_noise

Rgb = tuple[float, float, float]
Form = Literal["one", "cluster", "scattered", "satellites", "sector", "patch"]
Finish = Literal["powder", "velvet", "wispy", "pin heads", "rings", "slick", "wet"]
#: Hours since inoculation at which something comes that never comes.
NEVER = 1e6
#: A foreign colony of a look of its own is outlined as it is, smoothed over so much.
OUTLINE_MM = 1.0
#: Felt that hides less than this is not seen: such a colony is there once it has its colour.
_SEEN = 0.25


@dataclass(frozen=True)
class MouldLook:
    """Form and finish of a patch.

    seed: of its noise; tone, pale, heart: linear RGB of the coloured part, of the young felt, of what is oldest;
    largest_mm: radius at which it stops; margin_mm: a rim that stays pale; cover: share that the felt hides, 0-1;
    contrast: of grain, rings or threads, 0-1; rough: of the outline, in logarithms of the radius; soft_mm: width over
    which it fades at its edge; rise_mm: height; is_harmless: belongs to the mycelium, shows only on it, and is no
    contamination; holds_back: mycelium does not grow into it.
    """

    seed: int
    form: Form
    finish: Finish
    tone: Rgb
    pale: Rgb = (0.70, 0.70, 0.66)
    heart: Rgb | None = None
    largest_mm: float = 20.0
    margin_mm: float = 0.0
    cover: float = 0.95
    contrast: float = 0.3
    rough: float = 0.14
    soft_mm: float = 0.4
    rise_mm: float = 1.0
    is_harmless: bool = False
    holds_back: bool = False


@dataclass(frozen=True)
class Mould:
    """A patch. place: (row, column) as shares of the bed; hours since inoculation at which it begins.

    colour: a word for it; look: its form and finish, None for an even disc whose colour is that of the word.
    """

    colour: str
    first_hours: float
    mm_per_day: float
    place: tuple[float, float]
    colour_delay_hours: float = 44.0
    look: MouldLook | None = None


@dataclass(frozen=True, eq=False)
class Colony:
    """A patch on its bed, each (H, W): hours since inoculation at which it arrives and takes on its colour; texture of
    its finish (threads and pin heads 0-1, grain and rings about 0); strength: 1, less at its edge, 0 where it never is.
    """

    arrival_hours: Field
    coloured_hours: Field
    texture: Field
    strength: Field


def settle(mould: Mould, look: MouldLook, shape: tuple[int, int], px_per_mm: float) -> Colony:
    """Draw the whole history of a patch with a look of its own, repeatable by the look's seed."""
    rng = np.random.default_rng([20261130, look.seed])
    bent = np.exp(look.rough * rough_noise(rng, shape, max(2.0, 0.7 * look.largest_mm) * px_per_mm, 5)).astype(
        np.float32
    )
    late = np.full(shape, NEVER, np.float32)
    if look.form in ("sector", "patch"):
        spread = _sector if look.form == "sector" else _patch
        late = np.minimum(late, spread(rng, mould, look, px_per_mm, bent))
    else:
        for row, column, largest_mm, wait in _starts(rng, mould, look, np.array(shape) / px_per_mm):
            _round_colony(late, (row, column), largest_mm, wait, mould.mm_per_day, px_per_mm, bent)
    inner_mm = cv2.distanceTransform((late < NEVER).astype(np.uint8), cv2.DIST_L2, 5) / px_per_mm
    powder = rough_noise(rng, shape, 2.0 * px_per_mm, 4)
    rim = np.where(inner_mm + 0.25 * look.margin_mm * powder < look.margin_mm, NEVER, 0)
    coloured = late + mould.colour_delay_hours + 6 * powder + rim
    first = np.float32(mould.first_hours)
    strength = np.clip(inner_mm / look.soft_mm, 0, 1).astype(np.float32)
    texture = _texture(rng, look, late * np.float32(mould.mm_per_day / 24), px_per_mm)
    return Colony(first + late, (first + coloured).astype(np.float32), texture.astype(np.float32), strength)


def _starts(rng: Rng, mould: Mould, look: MouldLook, size_mm: NDArray[np.floating]) -> list[tuple[float, ...]]:
    """Colonies of a form: (row mm, column mm, largest radius mm, hours late)."""
    row, column = np.array(mould.place) * size_mm
    radius = look.largest_mm
    if look.form == "one":
        return [(row, column, radius, 0.0)]
    if look.form == "cluster":
        off = rng.normal(0, 0.55 * radius, (int(rng.integers(3, 10)), 2))
        return [(row + a, column + b, radius * rng.uniform(0.25, 0.7), rng.uniform(0, 40)) for a, b in off]
    if look.form == "scattered":
        off = rng.normal(0, radius, (int(rng.integers(8, 60)), 2))
        return [(row + a, column + b, rng.uniform(0.5, 3.0), rng.uniform(0, 80)) for a, b in off]
    around = [(rng.uniform(0, 2 * np.pi), radius * rng.uniform(1.1, 2.4)) for _ in range(int(rng.integers(3, 14)))]
    return [(row, column, radius, 0.0)] + [
        (row + far * np.sin(angle), column + far * np.cos(angle), max(0.6, radius * rng.uniform(0.06, 0.3)),
         rng.uniform(10, 80)) for angle, far in around
    ]  # fmt: skip


def _hours(distance_mm: Field, largest_mm: float, mm_per_day: float) -> Field:
    """Hours until a colony that slows down as it nears its largest radius is so wide."""
    share = np.minimum(distance_mm / largest_mm, 1.0)
    slow = -0.15 * np.log(np.maximum(1 - share**4, 1e-6))
    return np.where(share < 1, (share + slow) * largest_mm / mm_per_day * 24, NEVER).astype(np.float32)


def _round_colony(late: Field, place_mm: tuple[float, float], largest_mm: float, wait: float, mm_per_day: float,
                  px_per_mm: float, bent: Field) -> None:  # fmt: skip
    """Lay a colony with a bumpy outline into ``late`` in place; only about as far as it reaches."""
    reach = 1.7 * largest_mm + 1
    (top, bottom), (left, right) = (
        (int(np.clip((at - reach) * px_per_mm, 0, n)), int(np.clip((at + reach) * px_per_mm, 0, n)))
        for at, n in zip(place_mm, late.shape, strict=True)
    )
    if top == bottom or left == right:
        return
    rows, columns = np.mgrid[top:bottom, left:right].astype(np.float32) / px_per_mm
    distance = np.hypot(rows - place_mm[0], columns - place_mm[1]) * bent[top:bottom, left:right]
    hours = _hours(distance, largest_mm, mm_per_day)
    near = late[top:bottom, left:right]
    np.minimum(near, np.where(hours < NEVER, hours + wait, NEVER), out=near)


def _from_start(mould: Mould, shape: tuple[int, ...], px_per_mm: float) -> tuple[Field, Field]:
    """Rows and columns of each point from where the patch begins, mm."""
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32) / px_per_mm
    row, column = np.array(mould.place, np.float32) * shape / px_per_mm
    return (rows - row).astype(np.float32), (columns - column).astype(np.float32)


def _sector(rng: Rng, mould: Mould, look: MouldLook, px_per_mm: float, bent: Field) -> Field:
    """A fan that widens from a point."""
    down, right = _from_start(mould, bent.shape, px_per_mm)
    turn = np.arctan2(down, right) - rng.uniform(-np.pi, np.pi)
    aside = np.abs((turn + np.pi) % (2 * np.pi) - np.pi)
    half = rng.uniform(0.25, 0.9)
    distance = np.hypot(down, right) * bent
    ragged = 0.6 * smooth_noise(rng, bent.shape, 2.5 * px_per_mm)
    over_mm = np.maximum(aside - half * bent, 0) * np.hypot(down, right) + ragged
    return np.where(over_mm < 0.8, _hours(distance, look.largest_mm, mould.mm_per_day), NEVER).astype(np.float32)


def _patch(rng: Rng, mould: Mould, look: MouldLook, px_per_mm: float, bent: Field) -> Field:
    """A soft irregular area that seeps rather than grows."""
    down, right = _from_start(mould, bent.shape, px_per_mm)
    stretch = rng.uniform(0.7, 1.4)
    rough = rough_noise(rng, bent.shape, max(3.0, 0.6 * look.largest_mm) * px_per_mm, 4)
    distance = np.hypot(down * stretch, right / stretch) * bent + 0.25 * look.largest_mm * rough
    return _hours(np.maximum(distance, 0).astype(np.float32), look.largest_mm, mould.mm_per_day)


def _texture(rng: Rng, look: MouldLook, distance_mm: Field, px_per_mm: float) -> Field:
    shape = (distance_mm.shape[0], distance_mm.shape[1])
    if look.finish == "wispy":
        threads = ridges(rng, shape, rng.uniform(2.5, 5) * px_per_mm)
        tufts = np.clip(0.5 + 0.5 * rough_noise(rng, shape, 5 * px_per_mm, 3), 0, 1)
        return np.clip(0.75 * threads + 0.55 * tufts, 0, 1)
    if look.finish == "pin heads":
        return _dots(rng, shape, px_per_mm, rng.uniform(0.25, 0.6), rng.uniform(0.05, 0.3))
    if look.finish == "rings":
        wave_mm, bend = rng.uniform(2, 7), 0.5 * smooth_noise(rng, shape, 6 * px_per_mm)
        return np.sin(2 * np.pi * np.minimum(distance_mm, 500) / wave_mm + bend + rng.uniform(0, 6))
    cell_mm = rng.uniform(0.8, 2.5) if look.finish == "powder" else 6.0
    return rough_noise(rng, shape, cell_mm * px_per_mm, 3, 0.8)


def _dots(rng: Rng, shape: tuple[int, int], px_per_mm: float, radius_mm: float, share: float) -> Field:
    """Round heads of about one size, 1 on a head; share: of the area that they cover, thicker here than there."""
    often = share / (np.pi * (radius_mm * px_per_mm) ** 2)
    thick = np.clip(1 + 0.7 * smooth_noise(rng, shape, 7 * px_per_mm), 0.1, 3)
    free = (rng.random(shape) > often * thick).astype(np.uint8)
    away_px = cv2.distanceTransform(free, cv2.DIST_L2, 3)
    size = radius_mm * px_per_mm * (1 + 0.25 * smooth_noise(rng, shape, 1.5 * px_per_mm))
    return np.asarray(np.clip(size - away_px + 0.5, 0, 1), np.float32)


def stages(mould: Mould, look: MouldLook, colony: Colony, hours: float) -> tuple[Field, Field]:
    """How established the patch is and how much of it has its colour, both 0-1, (H, W).

    As a grower would outline it: the area of the colony, not its single threads and heads.
    """
    unseen = mould.colour_delay_hours if look.finish == "pin heads" and look.cover < _SEEN else 0.0
    age = hours - colony.arrival_hours - unseen
    whole = colony.strength * (1 - np.exp(-np.maximum(age, 0) / 10))
    coloured = np.clip((hours - colony.coloured_hours) / 20, 0, 1)
    return whole.astype(np.float32), coloured.astype(np.float32)


def lay(mould: Mould, look: MouldLook, colony: Colony, hours: float, albedo: Field, relief_mm: Field,
        mycelium: Field) -> tuple[Field, Field]:  # fmt: skip
    """Lay a patch over albedo (H, W, 3) and relief (H, W); mycelium: its opacity, to which what is harmless keeps."""
    whole, coloured = stages(mould, look, colony, hours)
    if look.is_harmless:
        whole = whole * np.clip(1.6 * mycelium - 0.5, 0, 1)
    if not whole.any():
        return albedo, relief_mm
    texture, contrast = colony.texture, look.contrast
    tone, pale = np.array(look.tone, np.float32), np.array(look.pale, np.float32)
    old = np.clip((hours - colony.coloured_hours - 30) / 60, 0, 1)[..., None]
    ripe = tone if look.heart is None else tone * (1 - old) + np.array(look.heart, np.float32) * old
    hides = look.cover * whole
    if look.finish == "wet":
        soaked = albedo * (tone / tone.max()) * (1 - 0.75 * contrast) + 0.15 * tone
        over = hides[..., None]
        return albedo * (1 - over) + soaked * over, relief_mm * (1 - 0.3 * hides)
    if look.finish == "wispy":
        hides = hides * (1 - contrast * (1 - texture))
    if look.finish == "rings":
        coloured = coloured * (1 - contrast * (0.5 + 0.5 * texture))
    if look.finish == "pin heads":
        heads = texture * coloured
        coloured = heads / np.maximum(heads + hides * (1 - heads), 1e-6)
        hides = heads + hides * (1 - heads)
    grain = np.clip(1 + contrast * texture, 0.35, 1.8) if look.finish in ("powder", "velvet") else 1 + 0 * texture
    skin = pale * (1 - coloured[..., None]) + ripe * (coloured * grain)[..., None]
    over = hides[..., None]
    sunk = relief_mm * (1 - hides) if look.finish != "slick" else relief_mm * (1 - 0.6 * hides)
    raised = sunk + hides * look.rise_mm * (1 + 0.3 * contrast * texture)
    return (albedo * (1 - over) + skin * over).astype(np.float32), raised.astype(np.float32)
