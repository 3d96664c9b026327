"""The plot of groups side by side, in the farm's units."""

import re
from pathlib import Path

import pytest

from farm.store import Units
from farm.study import Average, Compared
from report import write_comparison_plot
from report.plot import PlotError

RATE = Average(5.08, 4.572, 5.588, 3, "")
GROUP = Compared(
    by="species", group="oyster", kind="plate", used_for="culture", n_vessels=9, n_batches=3, n_forecast=0,
    n_stalled=0, days=None, percent_per_day=None, radial_mm_per_day=RATE, n_finished=0, efficiency=None,
    n_contaminated=0, share=0.0, low=0.0, high=0.3, verdict="", cautions=(),
)  # fmt: skip


@pytest.mark.parametrize(
    ("units", "heading", "tick"),
    [(None, "radial rate, mm a day", "4"), (Units(lengths="inches"), "radial rate, in a day", "0.20")],
)
def test_rates_use_the_farm_s_units(tmp_path: Path, units: Units | None, heading: str, tick: str) -> None:
    """Matplotlib writes each text as a comment beside its outline. 5.08 mm are 0.2 inches of 25.4 mm."""
    target = tmp_path / "groups.svg"
    write_comparison_plot([GROUP], target, units)
    texts = re.findall(r"<!-- (.*?) -->", target.read_text("utf-8"))
    assert heading in texts
    assert tick in texts
    assert "oyster, plate for culture (9)" in texts


def test_no_group_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PlotError, match="there is no group"):
        write_comparison_plot([], tmp_path / "groups.svg")
