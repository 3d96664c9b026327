"""Templates filled in: every text is escaped, and a name the template does not know is a failure."""


def fill_template(name: str, **values: object) -> str:
    """The template of that name in ``templates/``, filled in."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    templates = Environment(loader=PackageLoader("report"), autoescape=True, undefined=StrictUndefined)
    templates.trim_blocks = templates.lstrip_blocks = True
    return templates.get_template(name).render(**values)
