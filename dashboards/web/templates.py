"""Pages as Jinja2 templates (autoescape: whatever is put into one is text unless it is Markup)."""

from __future__ import annotations

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

TEMPLATES = Environment(
    loader=FileSystemLoader(Path(__file__).parents[1]),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    keep_trailing_newline=True,
)


def render(name: str, **values: object) -> str:
    """The template of that name (its path below `dashboards`), filled in."""
    return TEMPLATES.get_template(name).render(values)
