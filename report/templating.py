"""Templates filled in: every text is escaped, and a name the template does not know is a failure."""

from report.visible import on_a_page


def fill_template(name: str, **values: object) -> str:
    """The template of that name in ``templates/``, filled in."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    templates = Environment(loader=PackageLoader("report"), autoescape=True, undefined=StrictUndefined, finalize=_shown)
    templates.trim_blocks = templates.lstrip_blocks = True
    return templates.get_template(name).render(**values)


def _shown(value: object) -> object:
    """Texts without what a page would obey; markup of our own is another type."""
    return on_a_page(value) if type(value) is str else value
