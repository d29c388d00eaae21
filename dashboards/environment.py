"""The one way in which our own templates are filled: escaped, and never with a missing value.

Belongs here: the jinja2 environment of `templates`. Does not belong here: what a page is given, or
a company's own templates (`dashboards.letters`).
"""

from __future__ import annotations

from pathlib import Path

import jinja2

from dashboards.kept import CompiledTemplates


def page_environment() -> jinja2.Environment:
    """A new environment over `templates`; the caller adds its globals and filters."""
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
        bytecode_cache=CompiledTemplates(),
    )
