"""Coordinates of a vessel's growth curve, for a small SVG drawing on the page.

The page's template draws it, not a plotting library: it then follows the light or dark theme, and a report of hundreds
of vessels is written in seconds.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from farm.outlook import Outlook
from farm.records.models import KeptReading
from farm.store import days_between, on_farm_clock

WIDTH, HEIGHT = 340.0, 182.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 30.0, 14.0, 8.0, 34.0
_TICKS = 6

Scale = Callable[[float], float]


@dataclass(frozen=True)
class Dot:
    """A reading: its position, and the ends of its 80 % bounds."""

    x: float
    y: float
    y_low: float
    y_high: float


@dataclass(frozen=True)
class Tick:
    """A tick on an axis and its text; of a day also its date, "" where there is no room for it."""

    at: float
    text: str
    date: str = ""


@dataclass(frozen=True)
class Drawing:
    """Coordinates in a box of WIDTH x HEIGHT, y downwards. band and median are SVG point lists.

    ready: x of the low, median and high day of readiness, or None. now, shakes: x of those moments.
    """

    band: str
    median: str
    dots: tuple[Dot, ...]
    shakes: tuple[float, ...]
    now: float
    ready: tuple[float, float, float] | None
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    left: float
    right: float
    top: float
    bottom: float
    width: float = WIDTH
    height: float = HEIGHT


def short_day(moment: datetime, zone: tzinfo | None) -> str:
    """The date of a moment, such as "6 Mar"."""
    shown = on_farm_clock(moment, zone)
    return f"{shown.day} {shown:%b}"


def draw_curve(
    outlook: Outlook,
    readings: Sequence[KeptReading],
    now: datetime,
    zone: tzinfo | None = None,
    day_text: Callable[[datetime, tzinfo | None], str] = short_day,
) -> Drawing:
    """The readings (a series, oldest first) and the curve of a vessel.

    The day axis covers the readings, the forecast, and usually today.
    If today is far beyond the rest, it is drawn at the edge. zone: of the farm's clock. day_text: writes its dates.
    """
    start = outlook.vessel.inoculated_at
    today = max(0.0, days_between(start, now))
    days = [days_between(start, one.taken_at) for one in readings]
    edges = [days_between(start, at) for at in _known(outlook) if at is not None]
    seen = max([7.0, *days])
    reach = max([seen, *(min(edge, 3 * seen) for edge in edges)])
    last_day = 1.04 * (max(today, reach) if today < 2 * reach else reach)

    def x(day: float) -> float:
        return round(_LEFT + (WIDTH - _LEFT - _RIGHT) * min(max(day / last_day, 0.0), 1.0), 1)

    def y(percent: float) -> float:
        return round(HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * percent / 100, 1)

    band, median = _curve_points(outlook, last_day, x, y)
    dots = tuple(
        Dot(x(day), y(one.percent or 0), y(_or(one.percent_low, one.percent)), y(_or(one.percent_high, one.percent)))
        for day, one in zip(days, readings, strict=True)
    )
    moments = (outlook.ready.low, outlook.ready.median, outlook.ready.high)
    return Drawing(
        band=band,
        median=median,
        dots=dots,
        shakes=tuple(x(days_between(start, at)) for at in outlook.shaken_at),
        now=x(today),
        ready=_three([None if at is None else x(days_between(start, at)) for at in moments], x(last_day)),
        x_ticks=tuple(
            Tick(x(day), f"{day:.0f}", day_text(start + timedelta(days=day), zone)) for day in _round_days(last_day)
        ),
        y_ticks=tuple(Tick(y(percent), f"{percent}") for percent in (0, 50, 100)),
        left=_LEFT,
        right=WIDTH - _RIGHT,
        top=_TOP,
        bottom=HEIGHT - _BOTTOM,
    )


def _known(outlook: Outlook) -> tuple[datetime | None, ...]:
    return (outlook.ready.median, outlook.ready.high, outlook.through.median)


def _or(bound: float | None, percent: float | None) -> float:
    return bound if bound is not None else percent or 0.0


def _three(edges: list[float | None], end: float) -> tuple[float, float, float] | None:
    low, median, high = edges
    return None if low is None or median is None else (low, median, end if high is None else high)


def _curve_points(outlook: Outlook, last_day: float, x: Scale, y: Scale) -> tuple[str, str]:
    curve = outlook.forecast.curve
    if curve is None:
        return "", ""
    rows = [
        (x(day), median, low, high)
        for day, median, low, high in zip(curve.days, curve.median, curve.low, curve.high, strict=True)
        if 0 <= day <= last_day
    ]
    upper = [f"{at},{y(high)}" for at, _, _, high in rows]
    lower = [f"{at},{y(low)}" for at, _, low, _ in reversed(rows)]
    return " ".join(upper + lower), " ".join(f"{at},{y(median)}" for at, median, _, _ in rows)


def _round_days(last_day: float) -> list[float]:
    step = next((step for step in (1, 2, 5, 7, 14, 28, 56, 112) if last_day / step <= _TICKS), 365)
    return [float(day) for day in range(0, int(last_day) + 1, step)]
