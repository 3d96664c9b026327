"""What people look at: the HTML report, the review page, plots, and the cautions that stand with every flag."""

from report.cautions import CAUTIONS, SECTION_HEADINGS, colour_words
from report.page import write_report
from report.plot import write_plot
from report.review_server import ReviewServer, review_page

__all__ = [
    "CAUTIONS",
    "SECTION_HEADINGS",
    "ReviewServer",
    "colour_words",
    "review_page",
    "write_plot",
    "write_report",
]
