"""Plot groups side by side: means and shares with their intervals."""

from collections.abc import Callable, Sequence
from pathlib import Path

from farm.store import Units
from farm.study import Average, Compared
from report.plot import PlotError, save_figure
from report.safe_text import visible

_Ends = tuple[float, float | None, float | None]
#: Heading of a panel, and the function that gives its value, low and high for a group.
_Panel = tuple[str, Callable[[Compared], _Ends | None]]
_LONGEST_NAME = 40
_ROW_INCHES, _PANEL_INCHES, _NAMES_INCHES = 0.42, 2.6, 1.6


def write_comparison_plot(groups: Sequence[Compared], target: Path, units: Units | None = None) -> None:
    """Draw the groups with 95 % intervals as .png or .svg. Raises PlotError, also if there is nothing to draw.

    units: of the rates of colonies; None: metric.
    """
    if not groups:
        raise PlotError("nothing to draw: there is no group")
    from matplotlib.figure import Figure

    panels = [(heading, of) for heading, of in _panels(units or Units()) if any(of(one) is not None for one in groups)]
    size = (_NAMES_INCHES + _PANEL_INCHES * len(panels), 1.2 + _ROW_INCHES * len(groups))
    figure = Figure(figsize=size, layout="constrained")
    names = [_name(one) for one in groups]
    for axes, (heading, of) in zip(figure.subplots(1, len(panels), squeeze=False, sharey=True)[0], panels, strict=True):
        for row, one in enumerate(groups):
            if (ends := of(one)) is None:
                continue
            middle, low, high = ends
            if low is not None and high is not None:
                axes.plot([low, high], [row, row], color="grey", linewidth=2, solid_capstyle="butt")
            axes.plot([middle], [row], marker="o", color="black", clip_on=False)
        axes.set_title(heading, fontsize="medium")
        axes.set_xlim(left=0)
        axes.grid(axis="x", linewidth=0.4)
        axes.set_yticks(range(len(groups)), names)
        axes.set_ylim(len(groups) - 0.5, -0.5)
    figure.suptitle(
        "95 % intervals; no line: too few vessels for an interval; (n): number of vessels", fontsize="small"
    )
    save_figure(figure, target)


def _name(one: Compared) -> str:
    """Label of a group's row; dollar signs are escaped, because matplotlib reads text between two as a formula."""
    group = one.group if len(one.group) <= _LONGEST_NAME else f"{one.group[: _LONGEST_NAME - 1]}\N{HORIZONTAL ELLIPSIS}"
    return visible(f"{group}, {one.kind} for {one.used_for} ({one.n_vessels})").replace("$", r"\$")


def _panels(units: Units) -> list[_Panel]:
    rate = "mm" if units.lengths == "cm" else "in"
    return [
        ("days to colonised through", lambda one: _ends(one.days)),
        ("% a day at its steepest", lambda one: _ends(one.percent_per_day)),
        (f"radial rate, {rate} a day", lambda one: _ends(one.radial_mm_per_day, units.length_number(1.0))),
        ("yield, % of dry weight", lambda one: _ends(one.efficiency)),
        ("contaminated, %", lambda one: (100 * one.share, 100 * one.low, 100 * one.high)),
    ]


def _ends(average: Average | None, times: float = 1.0) -> _Ends | None:
    """times: of the numbers, for another unit."""
    if average is None:
        return None
    low, high = (None if end is None else times * end for end in (average.low, average.high))
    return times * average.mean, low, high
