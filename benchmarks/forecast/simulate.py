"""Simulated farms with known truth: fronts running over a face of uneven speed, with noisy readings.

Nothing here uses a growth law. A front starts at points (or at the top edge, or at a plug on a dish), runs at a speed
that varies from place to place, and the percent is the share of cells it has reached. All farms are invented.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from skimage.graph import MCP_Geometric

from calibration import Kind
from growth.data import Series

Array = NDArray[np.float64]
Rng = np.random.Generator

_CELLS = (44, 36)


@dataclass(frozen=True)
class Crop:
    """One species on a substrate in a kind on a farm. Days are medians; spreads are of logarithms."""

    kind: Kind
    species: str
    substrate: str
    span_days: float
    lag_days: float
    starts: tuple[int, int] = (8, 22)
    top_share: float = 0.0
    shaken_share: float = 0.0


@dataclass(frozen=True)
class FarmPlan:
    """How a simulated farm works. Spreads are standard deviations of logarithms; noise is in points at half
    colonised.
    """

    name: str
    crops: tuple[Crop, ...]
    finished_batches: int
    live_batches: int
    vessels: int = 10
    between: float = 0.25
    within: float = 0.12
    lag_within: float = 0.25
    patchiness: float = 0.35
    slow_corner_share: float = 0.15
    noise_points: float = 3.0
    wrong_share: float = 0.02
    missed_days: float = 0.2
    days_between: float = 1.0
    stalled_share: float = 0.06
    bounds: bool = True


@dataclass(frozen=True)
class Truth:
    """The truth: day of 99 % (None: stalled), true percent at the cut, day growth stopped, finished or live."""

    through_day: float | None
    percent_at_cut: float
    cut_day: float
    stalled_day: float | None
    finished: bool
    shaken: bool


def simulate(plan: FarmPlan, seed: int) -> list[tuple[Series, Truth]]:
    """All vessels of one farm: finished batches first, then live ones cut at a random progress."""
    rng = np.random.default_rng(seed)
    vessels: list[tuple[Series, Truth]] = []
    for crop in plan.crops:
        for number in range(plan.finished_batches + plan.live_batches):
            pace, lag = np.exp(plan.between * rng.standard_normal(2))
            for _ in range(plan.vessels):
                name = f"{plan.name[:3].upper()}{len(vessels):04d}"
                series = Series(name, crop.kind, crop.species, crop.substrate, f"{crop.kind}{crop.species}{number}")
                vessels.append(_vessel(series, crop, plan, pace, lag, number < plan.finished_batches, rng))
    return vessels


def _vessel(
    series: Series, crop: Crop, plan: FarmPlan, pace: float, lag: float, finished: bool, rng: Rng
) -> tuple[Series, Truth]:
    arrival = _grown(crop, plan, pace, lag, rng)
    shaken_day = None
    if rng.random() < crop.shaken_share:
        shaken_day = float(np.quantile(arrival, rng.uniform(0.25, 0.4)))
        many = replace(crop, starts=(40, 90), lag_days=1.0, span_days=crop.span_days * 0.6, top_share=0.0)
        again = shaken_day + _grown(many, plan, pace, 1.0, rng)
    stalled_day = None
    current = arrival if shaken_day is None else again
    if rng.random() < plan.stalled_share:
        stalled_day = float(np.quantile(current, rng.uniform(0.2, 0.8)))
        current = np.where(current > stalled_day, np.inf, current)
    through = None if stalled_day is not None else float(np.quantile(current, 0.99, method="inverted_cdf"))
    cut = _cut_day(current, through, stalled_day, finished, rng)
    parts = (arrival, current) if shaken_day is not None else (current, current)

    def percent(day: float) -> float:
        return 100.0 * float(np.mean(parts[0 if shaken_day is None or day <= shaken_day else 1] <= day))

    seen = _observed(series, percent, cut, plan, rng)
    if shaken_day is not None and shaken_day <= cut:
        seen = replace(seen, shaken_days=(shaken_day,))
    return seen, Truth(through, percent(cut), cut, stalled_day, finished, shaken_day is not None)


def _cut_day(current: Array, through: float | None, stalled_day: float | None, finished: bool, rng: Rng) -> float:
    if stalled_day is not None:
        return (
            stalled_day * (1.0 + rng.uniform(0.5, 1.0))
            if finished
            else stalled_day + rng.uniform(0.0, 0.6) * stalled_day
        )
    if through is not None and finished:
        return through + rng.uniform(1.0, 3.0)
    return float(np.quantile(current, rng.uniform(0.10, 0.92)))


def _grown(crop: Crop, plan: FarmPlan, pace: float, lag: float, rng: Rng) -> Array:
    """Day on which the front reaches each cell of the face."""
    speed = np.exp(plan.patchiness * _patches(rng))
    if rng.random() < plan.slow_corner_share:
        row, column = rng.integers(0, 2, 2) * (np.array(_CELLS) - 1)
        rows, columns = np.indices(_CELLS)
        near = np.hypot(rows - row, columns - column) < rng.uniform(8, 16)
        speed = np.where(near, speed * rng.uniform(0.35, 0.7), speed)
    starts, inside = _starts(crop, rng)
    slow = np.where(inside, 1.0 / speed, -1.0)
    reached = np.asarray(MCP_Geometric(slow).find_costs(starts)[0])[inside]
    # the crop's span holds for an average face; starts and patches make each vessel differ
    usual = _usual_reach(crop, starts)
    vessel_pace = np.exp(plan.within * rng.standard_normal())
    days = reached / usual * crop.span_days * pace * vessel_pace
    return np.asarray(days + crop.lag_days * lag * np.exp(plan.lag_within * rng.standard_normal()))


def _usual_reach(crop: Crop, starts: list[tuple[int, int]]) -> float:
    """Cells that a front crosses on an even face until 99 % is reached, for that number of random starts."""
    if crop.kind == "plate":
        return 0.5 * min(_CELLS)
    if len({column for _, column in starts}) == _CELLS[1] and {row for row, _ in starts} == {0}:
        return float(_CELLS[0])
    # n random points leave a share exp(-n pi r^2 / A) further than r away (Kolmogorov 1937)
    return float(np.sqrt(np.log(100.0) * _CELLS[0] * _CELLS[1] / (np.pi * len(starts))))


def _patches(rng: Rng) -> Array:
    field = gaussian_filter(rng.standard_normal(_CELLS), 4.0)
    return np.asarray((field - field.mean()) / field.std())


def _starts(crop: Crop, rng: Rng) -> tuple[list[tuple[int, int]], NDArray[np.bool_]]:
    rows, columns = np.indices(_CELLS)
    if crop.kind == "plate":
        middle = (np.array(_CELLS) - 1) / 2.0
        radius = min(middle)
        inside = np.hypot(rows - middle[0], columns - middle[1]) <= radius
        place = middle + rng.normal(0, 0.12 * radius, 2)
        return [(int(place[0]), int(place[1]))], inside
    inside = np.ones(_CELLS, dtype=bool)
    if rng.random() < crop.top_share:
        return [(0, c) for c in range(_CELLS[1])], inside
    n = int(rng.integers(*crop.starts))
    return [
        (int(r), int(c)) for r, c in zip(rng.integers(0, _CELLS[0], n), rng.integers(0, _CELLS[1], n), strict=True)
    ], inside


def _observed(series: Series, percent, cut: float, plan: FarmPlan, rng: Rng) -> Series:  # noqa: ANN001
    days, seen, low, high = [], [], [], []
    for day in np.arange(0.0, cut, plan.days_between):
        moment = float(np.clip(day + rng.normal(0.3, 0.06), 0.0, None))
        if moment >= cut or rng.random() < plan.missed_days:
            continue
        true = percent(moment)
        spread = (0.3 + 0.7 * np.sqrt(4 * (true / 100) * (1 - true / 100))) * plan.noise_points
        value = float(np.clip(true + spread * rng.standard_normal(), 0, 100))
        if rng.random() < plan.wrong_share:
            value = float(np.clip(true + rng.choice([-1, 1]) * rng.uniform(12, 40), 0, 100))
        said = (0.3 + 0.7 * np.sqrt(4 * (value / 100) * (1 - value / 100))) * plan.noise_points
        days.append(moment)
        seen.append(value)
        low.append(max(value - 1.2816 * said, 0.0))
        high.append(min(value + 1.2816 * said, 100.0))
    read = replace(series, days=tuple(days), percent=tuple(seen))
    return replace(read, low=tuple(low), high=tuple(high)) if plan.bounds else read


_OYSTER = Crop("block", "oyster", "straw", 9.0, 3.0)
_JAR = Crop("jar", "oyster", "rye", 8.0, 3.0, shaken_share=0.35)
_PLATE = Crop("plate", "oyster", "agar", 8.0, 1.8)

_EVEN = FarmPlan(
    name="even",
    crops=(
        _OYSTER,
        _JAR,
        _PLATE,
        Crop("bag", "lions_mane", "sawdust", 14.0, 4.0, top_share=0.5),
        Crop("block", "reishi", "oak sawdust", 16.0, 5.0),
    ),
    finished_batches=4,
    live_batches=3,
)
_SLOW = FarmPlan(
    name="slow and sparse",
    crops=(
        Crop("block", "shiitake", "oak sawdust", 28.0, 6.0, (6, 14)),
        Crop("plate", "shiitake", "agar", 14.0, 4.0),
        Crop("jar", "shiitake", "millet", 16.0, 5.0, shaken_share=0.5),
    ),
    finished_batches=5,
    live_batches=4,
    between=0.3,
    within=0.14,
    noise_points=4.5,
    days_between=2.5,
    patchiness=0.4,
)
_FAST = FarmPlan(
    name="fast and close",
    crops=(
        Crop("jar", "pink oyster", "millet", 6.0, 1.5, shaken_share=0.4),
        Crop("block", "pink oyster", "straw", 6.5, 1.8, (15, 60)),
        Crop("plate", "pink oyster", "agar", 5.0, 1.0),
    ),
    finished_batches=5,
    live_batches=4,
    between=0.15,
    within=0.07,
    noise_points=2.0,
    slow_corner_share=0.05,
    days_between=0.5,
)
_BY_EYE = FarmPlan(
    name="unknown species by eye",
    crops=(
        Crop("bag", "velvet foot", "nut shells", 12.0, 5.0, top_share=0.3),
        Crop("bucket", "oyster", "straw", 11.0, 3.0),
        Crop("tube", "oyster", "agar", 12.0, 2.0, top_share=1.0),
    ),
    finished_batches=4,
    live_batches=4,
    noise_points=6.0,
    wrong_share=0.05,
    bounds=False,
    missed_days=0.4,
    slow_corner_share=0.3,
)
_NEW = FarmPlan("new farm", (_OYSTER, _JAR, _PLATE), finished_batches=0, live_batches=4, vessels=8)
_TWO = FarmPlan(
    name="two finished",
    crops=(replace(_OYSTER, span_days=16.0), replace(_JAR, span_days=5.0)),
    finished_batches=2,
    live_batches=4,
    between=0.2,
)

PLANS: tuple[FarmPlan, ...] = (_EVEN, _SLOW, _FAST, _BY_EYE, _NEW, _TWO)


def all_farms(seed: int) -> Iterator[tuple[FarmPlan, list[tuple[Series, Truth]]]]:
    """Each plan simulated once."""
    for number, plan in enumerate(PLANS):
        yield plan, simulate(plan, seed * 1000 + number)
