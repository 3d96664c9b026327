"""What grows on a bed: fronts that arrive, mycelium that thickens behind them, moulds; and what counts as colonised."""

from dataclasses import dataclass, field
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.graph import MCP_Geometric

from training.scenes.moulds import NEVER, OUTLINE_MM, Colony, Mould, lay, settle, stages
from training.scenes.pieces import Bed
from training.segmenter.noise import Field, Rng, rough_noise, smooth_noise

Style = Literal["cottony", "ropey", "thin"]
#: A point is colonised when mycelium hides at least half of the substrate, averaged over this window.
WINDOW_MM = 3.0
#: Thin mycelium is greyer than dense: where its opacity is o, the bed is lightened by o to this power of the way.
THIN_IS_GREY = 1.36
#: Opacity that counts as hiding half. In the pictures the border of what is colonised then lies 0.40 of the way from
#: bare to dense, as in the rendered scenes with known truth (0.29 to 0.42, mean 0.40); with 0.5 it lay at 0.44.
HALF_HIDDEN_AT = 0.465
_GRID_PX_PER_MM = 1.0

#: Linear RGB of the coloured middle of a patch.
MOULD_COLOURS: dict[str, tuple[float, float, float]] = {
    "green": (0.10, 0.22, 0.07),
    "blue-green": (0.10, 0.24, 0.20),
    "black": (0.018, 0.017, 0.016),
    "grey": (0.20, 0.20, 0.19),
    "pink-orange": (0.75, 0.24, 0.12),
}


@dataclass(frozen=True)
class Culture:
    """How one vessel grows. tau_hours: of the ramp behind the front; spread: of log speed; stalled_hours: end of it;
    white: linear RGB of dense mycelium.
    """

    style: Style = "cottony"
    mm_per_day: float = 4.0
    lag_hours: float = 36.0
    tau_hours: float = 22.0
    points: int = 30
    start: Literal["points", "plug", "top", "two plugs"] = "points"
    spread: float = 0.32
    stalled_hours: float | None = None
    thin_is_grey: float = THIN_IS_GREY
    white: tuple[float, float, float] = (0.80, 0.785, 0.75)


@dataclass(frozen=True, eq=False)
class Grown:
    """A bed with its history: hours since inoculation at which mycelium and mould arrive, and their fixed patterns.

    colonies: one for each mould, None for one without a look of its own.
    """

    bed: Bed
    culture: Culture
    arrival_hours: Field
    pattern: Field
    tone: Field
    moulds: tuple[Mould, ...] = ()
    mould_arrival_hours: tuple[Field, ...] = field(default=())
    powder: Field | None = None
    colonies: tuple[Colony | None, ...] = field(default=())


@dataclass(frozen=True, eq=False)
class State:
    """One moment. albedo (H, W, 3), relief_mm (H, W); classes 1 bare, 2 colonised, 3 contaminated; coloured: True
    where a contaminated point shows its colour.
    """

    albedo: Field
    relief_mm: Field
    classes: NDArray[np.uint8]
    coloured: NDArray[np.bool_]


def plant(rng: Rng, bed: Bed, culture: Culture, moulds: tuple[Mould, ...] = ()) -> Grown:
    """Draw the whole history of a bed."""
    shape = bed.height_mm.shape
    starts = _starts(rng, shape, bed.px_per_mm, culture)
    arrival = _arrival_hours(rng, shape, bed.px_per_mm, culture, starts)
    pattern = (
        _strands(rng, shape, bed.px_per_mm, starts, arrival)
        if culture.style == "ropey"
        else rough_noise(rng, shape, 4.5 * bed.px_per_mm, 5, 0.65)
    )
    tone = rough_noise(rng, shape, 25 * bed.px_per_mm, 5)
    colonies = tuple(settle(mould, mould.look, shape, bed.px_per_mm) if mould.look else None for mould in moulds)
    for mould, own in zip(moulds, colonies, strict=True):
        if mould.look and own and mould.look.holds_back:
            arrival = np.where(own.arrival_hours < arrival, np.float32(NEVER), arrival)
    reach = tuple(
        own.arrival_hours if own else _mould_arrival(rng, shape, bed.px_per_mm, mould)
        for mould, own in zip(moulds, colonies, strict=True)
    )
    powder = rough_noise(rng, shape, 2.5 * bed.px_per_mm, 4)
    return Grown(bed, culture, arrival, pattern, tone, moulds, reach, powder, colonies)


def _starts(rng: Rng, shape: tuple[int, int], px_per_mm: float, culture: Culture) -> Field:
    """Rows of (row mm, column mm, hours late)."""
    size = np.array(shape) / px_per_mm
    if culture.start == "plug":
        return np.array([[*(size / 2 + rng.normal(0, 3, 2)), 0.0]], np.float32)
    if culture.start == "two plugs":
        return np.array([[*(size * (0.34, 0.36)), 0.0], [*(size * (0.66, 0.62)), 6.0]], np.float32)
    if culture.start == "top":
        columns = np.arange(0, size[1], 4.0)
        return np.c_[np.clip(rng.normal(8, 5, columns.size), 0, 20), columns, rng.choice([0, 10, 20], columns.size)]
    late = rng.choice([0.0, 0.0, 12.0, 30.0], culture.points)
    return np.c_[rng.uniform(0, 1, (culture.points, 2)) * size, late].astype(np.float32)


def _arrival_hours(rng: Rng, shape: tuple[int, int], px_per_mm: float, culture: Culture, starts: Field) -> Field:
    grid = tuple(max(2, round(n / px_per_mm * _GRID_PX_PER_MM)) for n in shape)
    plug = "plug" in culture.start
    rough = rough_noise(rng, (grid[0], grid[1]), 10 if plug else 28, 4, 0.7)
    speed = culture.mm_per_day / 24 * np.exp((0.10 if plug else culture.spread) * rough)
    hours = np.full(grid, np.inf)
    for late in np.unique(starts[:, 2]):
        group = [(int(r), int(c)) for r, c, when in starts if when == late]
        group = [(min(r, grid[0] - 1), min(c, grid[1] - 1)) for r, c in group]
        hours = np.minimum(hours, _travel_hours(speed, group) + late)
    full = cv2.resize(hours.astype(np.float32), shape[::-1], interpolation=cv2.INTER_CUBIC)
    ragged = (3.0 if plug else 7.0) * rough_noise(rng, shape, 3 * px_per_mm, 3)
    return np.maximum(full + ragged, 0).astype(np.float32) + np.float32(culture.lag_hours)


def _travel_hours(speed_mm_per_hour: NDArray[np.floating], starts: list[tuple[int, int]]) -> NDArray[np.floating]:
    """Hours for a front to reach each cell of 1 mm; the grid's octagons are made round as at even speed."""
    costs, _ = MCP_Geometric(1 / speed_mm_per_hour).find_costs(starts)
    even, _ = MCP_Geometric(np.ones_like(speed_mm_per_hour)).find_costs(starts)
    free = np.ones(even.shape, np.uint8)
    free[tuple(np.array(starts).T)] = 0
    true = cv2.distanceTransform(free, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.asarray(costs * np.clip(true / np.maximum(even, 1e-6), 0.9, 1.0))


def _strands(rng: Rng, shape: tuple[int, int], px_per_mm: float, starts: Field, arrival: Field) -> Field:
    """Cords that run outwards from the nearest start and branch: mean 0, deviation about 1."""
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32) / px_per_mm
    nearest = np.full(shape, np.inf, np.float32)
    angle = np.zeros(shape, np.float32)
    for number, (row, column, _) in enumerate(starts):
        distance = np.hypot(rows - row, columns - column)
        closer = distance < nearest
        nearest = np.where(closer, distance, nearest)
        angle = np.where(closer, np.arctan2(rows - row, columns - column) + 7 * number, angle)
    angle = angle + 0.12 * smooth_noise(rng, shape, 9 * px_per_mm) + 0.05 * smooth_noise(rng, shape, 3 * px_per_mm)
    out = np.zeros(shape, np.float32)
    for cords in (9, 17, 31, 57, 103):
        width_mm = np.maximum(nearest, 1) * 2 * np.pi / cords
        fit = np.exp(-(np.log(width_mm / 3.2) ** 2) / 0.7)
        out += fit * np.sin(cords * angle + rng.uniform(0, 6) + 0.02 * arrival)
    out += 0.45 * rough_noise(rng, shape, 3 * px_per_mm, 3)
    return (out / out.std()).astype(np.float32)


def _mould_arrival(rng: Rng, shape: tuple[int, int], px_per_mm: float, mould: Mould) -> Field:
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32) / px_per_mm
    row, column = np.array(mould.place) * shape / px_per_mm
    bent = np.exp(0.14 * rough_noise(rng, shape, 14 * px_per_mm, 4)).astype(np.float32)
    hours = np.hypot(rows - row, columns - column) * bent / mould.mm_per_day * 24
    return (mould.first_hours + hours).astype(np.float32)


def opacity_at(grown: Grown, hours: float) -> Field:
    """Share of the substrate that mycelium hides, (H, W), ``hours`` after inoculation."""
    culture, bed = grown.culture, grown.bed
    if culture.stalled_hours is not None:
        hours = min(hours, culture.stalled_hours)
    high = bed.height_mm / max(float(np.quantile(bed.height_mm, 0.9)), 0.2) if bed.height_mm.any() else bed.height_mm
    age = hours - grown.arrival_hours - 0.35 * culture.tau_hours * np.clip(high - 0.5, -0.5, 0.7)
    ramp = 1 - np.exp(-np.maximum(age, 0) / culture.tau_hours)
    if culture.style == "ropey":
        limit = np.interp(ramp, [0, 0.15, 0.3, 0.5, 0.7, 0.85, 1], [3, 1.4, 0.75, 0.1, -0.7, -1.6, -4])
        cords = 1 / (1 + np.exp(-2.6 * (grown.pattern - limit)))
        return (cords * np.minimum(ramp * 5, 1) * 0.97).astype(np.float32)
    uneven = 1.1 if culture.style == "thin" else 0.6
    wispy = np.clip(ramp + uneven * ramp * (1 - ramp) * grown.pattern, 0, 1)
    return (wispy * (0.82 if culture.style == "thin" else 0.97)).astype(np.float32)


def _mould_at(grown: Grown, number: int, hours: float) -> tuple[Field, Field]:
    """Opacity of the patch and how much of it shows its colour."""
    mould, own = _own_look(grown, number)
    if mould.look and own:
        return stages(mould, mould.look, own, hours)
    age = hours - grown.mould_arrival_hours[number]
    opacity = 1 - np.exp(-np.maximum(age, 0) / 10)
    powder = 7 * grown.powder if grown.powder is not None else 0
    coloured = np.clip((age - grown.moulds[number].colour_delay_hours + powder) / 20, 0, 1)
    return opacity.astype(np.float32), coloured.astype(np.float32)


def _own_look(grown: Grown, number: int) -> tuple[Mould, Colony | None]:
    return grown.moulds[number], grown.colonies[number] if grown.colonies else None


def _averaged(share: Field, px_per_mm: float, window_mm: float = WINDOW_MM) -> Field:
    side = round(window_mm * px_per_mm)
    return np.asarray(cv2.blur(share, (side, side), borderType=cv2.BORDER_REPLICATE), np.float32)


def classify(grown: Grown, hours: float) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Class of each point (1 bare, 2 colonised, 3 contaminated) and True where a contaminated point is coloured."""
    px = grown.bed.px_per_mm
    classes = np.where(_averaged(opacity_at(grown, hours), px) >= HALF_HIDDEN_AT, 2, 1).astype(np.uint8)
    tinted = np.zeros(classes.shape, bool)
    for number, mould in enumerate(grown.moulds):
        if mould.look and mould.look.is_harmless:
            continue
        opacity, coloured = _mould_at(grown, number, hours)
        window_mm = OUTLINE_MM if mould.look else WINDOW_MM
        ill = _averaged(opacity, px, window_mm) >= 0.5
        classes[ill] = 3
        tinted |= ill & (_averaged(coloured, px, window_mm) >= 0.5)
    return classes, tinted


def look(grown: Grown, hours: float, tan: float = 0.0) -> State:
    """How the bed looks ``hours`` after inoculation. tan: light-brown tinge of old growth, 0-1."""
    bed = grown.bed
    px = bed.px_per_mm
    opacity = opacity_at(grown, hours)
    fluff = grown.pattern - cv2.GaussianBlur(grown.pattern, (0, 0), 2.0 * px)
    white = np.array(grown.culture.white, np.float32) * (1 + 0.05 * grown.tone + 0.05 * fluff)[..., None]
    if tan:
        tinge = np.clip(tan * (grown.tone - 0.2), 0, 0.8)[..., None] * np.clip(opacity, 0, 1)[..., None]
        white = white * (1 - tinge) + np.array((0.55, 0.40, 0.22), np.float32) * tinge
    shown = opacity[..., None] ** np.float32(grown.culture.thin_is_grey)
    albedo = bed.albedo * (1 - shown) + white * shown
    relief = bed.height_mm * (1 - 0.75 * opacity) + opacity * (0.8 + 0.22 * fluff)
    for number in range(len(grown.moulds)):
        mould, own = _own_look(grown, number)
        if mould.look and own:
            albedo, relief = lay(mould, mould.look, own, hours, albedo, relief, opacity)
            continue
        over, coloured = _mould_at(grown, number, hours)
        grain = 1 + 0.12 * (grown.powder if grown.powder is not None else 0)
        tone = np.array(MOULD_COLOURS[mould.colour], np.float32) * np.clip(grain, 0.5, 1.6)[..., None]
        pale = np.array((0.70, 0.70, 0.66), np.float32)
        skin = pale * (1 - coloured[..., None]) + tone * coloured[..., None]
        albedo = albedo * (1 - over[..., None]) + skin * over[..., None]
        relief = relief * (1 - over) + over * (1.0 + 0.12 * (grain - 1))
    classes, tinted = classify(grown, hours)
    return State(np.clip(albedo, 0.003, 0.92).astype(np.float32), relief.astype(np.float32), classes, tinted)
