"""The templates of single pages: escaped, and with nothing left undefined."""

import functools

from jinja2 import Environment, PackageLoader, StrictUndefined, Template

__all__ = ["template"]


@functools.cache
def template(name: str) -> Template:
    """A template of this room by its file's name."""
    environment = Environment(
        loader=PackageLoader("bellmouth.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name)
