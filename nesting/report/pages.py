"""The HTML pages' templates, all filled by the same rules: escaped, and nothing left undefined."""

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template


@cache
def template(name: str) -> Template:
    """Return a template of the `templates` folder; a name used in it and not given is an error."""
    env = Environment(
        loader=PackageLoader("nesting.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return env.get_template(name)
