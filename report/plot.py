"""Plot one vessel's curve to a picture file."""

from collections.abc import Sequence
from datetime import timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

from farm.outlook import Outlook
from farm.records.models import KeptReading
from farm.store import days_between, iso, output_file
from farm.store.errors import SpawnrunError
from report.drawing import short_day

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_SUFFIXES = (".png", ".svg")


class PlotError(SpawnrunError):
    """The plot cannot be written."""


def write_plot(
    outlook: Outlook, readings: Sequence[KeptReading], target: Path, *, zone: tzinfo | None, through_percent: float
) -> None:
    """Draw a series of readings with bounds, the curve with its 80 % band, shakes and the day of readiness.

    target: a .png or .svg file. Raises PlotError for another suffix, or if the file cannot be written.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.0, 4.0), layout="constrained")
    axes = figure.add_subplot()
    start = outlook.vessel.inoculated_at
    curve = outlook.forecast.curve
    if curve is not None:
        axes.fill_between(curve.days, curve.low, curve.high, alpha=0.25, label="curve, 80 % band")
        axes.plot(curve.days, curve.median)
    if readings:
        days = [days_between(start, one.taken_at) for one in readings]
        percent = [one.percent or 0.0 for one in readings]
        axes.errorbar(
            days, percent, yerr=_bars(readings), fmt="o", color="black", capsize=3, label="readings, 80 % bounds"
        )
    for n, at in enumerate(outlook.shaken_at):
        axes.axvline(days_between(start, at), linestyle=":", color="grey", label="" if n else "shaken")
    axes.axhline(through_percent, linestyle="--", linewidth=0.8, color="grey", label="colonised through")
    if outlook.ready.median is not None:
        axes.axvline(
            days_between(start, outlook.ready.median), linestyle="-.", color="black", linewidth=0.9, label="ready"
        )
    dates = axes.secondary_xaxis("top", functions=(lambda day: day, lambda day: day))
    dates.xaxis.set_major_formatter(lambda day, _: short_day(start + timedelta(days=day), zone))
    axes.set(xlabel="days since inoculation", ylabel="% colonised", ylim=(-2, 104))
    axes.set_title(f"{outlook.vessel.id}, {outlook.vessel.kind}, inoculated {iso(start, zone)}".replace("$", r"\$"))
    axes.legend(loc="best", fontsize="small")
    save_figure(figure, target)


def save_figure(figure: "Figure", target: Path) -> None:
    """Write a figure as .png or .svg. Raises PlotError for another suffix, or if the file cannot be written."""
    if target.suffix.lower() not in _SUFFIXES:
        raise PlotError(f"{target}: a plot is a .png or an .svg file")
    output_file(target)
    try:
        figure.savefig(target, dpi=150)
    except OSError as error:
        raise PlotError(f"{target}: cannot be written: {error.strerror}") from None


def _bars(readings: Sequence[KeptReading]) -> list[list[float]]:
    """Lengths of the bounds below and above each reading; 0 where there is none."""
    known = [(one.percent or 0.0, one.percent_low, one.percent_high) for one in readings]
    below = [0.0 if low is None else max(0.0, percent - low) for percent, low, _ in known]
    above = [0.0 if high is None else max(0.0, high - percent) for percent, _, high in known]
    return [below, above]
