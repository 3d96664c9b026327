"""Draw what a day costs against a farm's age, from tables that the part ``age`` printed.

    python -m benchmarks.scale age > now.txt
    python -m benchmarks.scale.plot now.txt [OTHER.txt ...] --out FILE.svg

Each table is a line, named as its file. The cost is drawn as a ratio to that of the first photos of the same table, so
that tables of machines of different speed can be compared.
"""

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path

from matplotlib import rcParams
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

#: The most that a photo of a vessel with 60 earlier ones may cost, of the first one's.
_ALLOWED = 1.3


def read_table(text: str) -> list[tuple[int, float]]:
    """Photos of each vessel, and the cost of one more as a ratio to the first, from a table as it was printed."""
    cells = [[cell.strip() for cell in line.strip().strip("|").split("|")] for line in text.splitlines() if "|" in line]
    return [(int(row[0]), float(row[2])) for row in cells if row[0].isdigit()]


def write_plot(tables: Mapping[str, Sequence[tuple[int, float]]], path: Path) -> None:
    """Draw the tables to an .svg or .png file."""
    rcParams.update({"svg.fonttype": "none", "svg.hashsalt": "age"})  # text as text: a smaller file; the same each time
    figure = Figure(figsize=(6.0, 3.2), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.axhline(_ALLOWED, color="0.6", linewidth=1, linestyle="--", label=f"{_ALLOWED} times the first")
    for (name, rows), style in zip(tables.items(), ("-o", "-s", "-^", "-d"), strict=False):
        axes.plot(*zip(*rows, strict=True), style, markersize=3, linewidth=1, label=name)
    axes.set(
        xlim=(0, None), ylim=(0, 1.5), xlabel="photos of each vessel so far", ylabel="cost of one more, of the first's"
    )
    axes.legend(frameon=False, loc="lower left")
    figure.savefig(path, metadata={"Date": None} if path.suffix == ".svg" else None)


def main() -> None:
    """Run from the command line."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("tables", nargs="+", type=Path)
    asked.add_argument("--out", type=Path, required=True)
    arguments = asked.parse_args()
    write_plot({table.stem: read_table(table.read_text("utf-8")) for table in arguments.tables}, arguments.out)


if __name__ == "__main__":
    main()
