"""Fill in templates: every text is escaped, and an unknown name is an error."""

from functools import cache
from typing import TYPE_CHECKING

from report.safe_text import on_a_page

if TYPE_CHECKING:
    from jinja2 import Environment


def fill_template(name: str, **values: object) -> str:
    """The filled-in text of a template in ``templates/``."""
    return templates_of("report").get_template(name).render(**values)


@cache
def templates_of(*packages: str) -> "Environment":
    """The templates of packages, each in its folder ``templates/``; of one name, that of the first package."""
    from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

    loader = ChoiceLoader([PackageLoader(package) for package in packages])
    templates = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, finalize=_shown)
    templates.trim_blocks = templates.lstrip_blocks = True
    return templates


def _shown(value: object) -> object:
    """Text without control characters; our own markup has another type and is left unchanged."""
    return on_a_page(value) if type(value) is str else value
