"""What people look at: the HTML report, plots, and the cautions that stand with every flag."""

from report.cautions import CAUTIONS, SECTION_HEADINGS
from report.page import write_report
from report.plot import write_plot

__all__ = ["CAUTIONS", "SECTION_HEADINGS", "write_plot", "write_report"]
