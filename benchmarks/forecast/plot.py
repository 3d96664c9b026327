"""A reliability plot: the share of vessels that are through by each predicted quantile."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure


def write_reliability(below: Sequence[Sequence[bool]], path: Path) -> None:
    """Draw observed against predicted shares, in percent, to an .svg or .png file, with the ideal as a grey line.

    below: for each vessel, whether it was through by its 10, 20 ... 90 % quantile.
    """
    said, seen = np.arange(10, 100, 10), 100.0 * np.mean(below, axis=0)
    figure = Figure(figsize=(4.5, 4.5), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.plot([0, 100], [0, 100], color="0.6", linewidth=1, label="right as often as said")
    axes.plot(said, seen, marker="o", markersize=4, color="black", linewidth=1, label=f"seen, {len(below)} vessels")
    axes.set(xlim=(0, 100), ylim=(0, 100), aspect="equal", xlabel="said: through by that day, %", ylabel="seen, %")
    axes.legend(frameon=False, loc="upper left")
    figure.savefig(path)
