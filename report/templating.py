"""Fill in templates: every text is escaped, and an unknown name is an error."""

from report.safe_text import on_a_page


def fill_template(name: str, **values: object) -> str:
    """The filled-in text of a template in ``templates/``."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    templates = Environment(loader=PackageLoader("report"), autoescape=True, undefined=StrictUndefined, finalize=_shown)
    templates.trim_blocks = templates.lstrip_blocks = True
    return templates.get_template(name).render(**values)


def _shown(value: object) -> object:
    """Text without control characters; our own markup has another type and is left unchanged."""
    return on_a_page(value) if type(value) is str else value
