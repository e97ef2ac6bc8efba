"""Pages as Jinja2 templates (autoescape: whatever is put into one is text unless it is Markup)."""

from __future__ import annotations

import re
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

HERE = Path(__file__).parents[1]  # dashboards/
TEMPLATES = Environment(
    loader=FileSystemLoader(HERE),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    keep_trailing_newline=True,
)


_DARK = re.compile(r":root\[data-light=.dark.\] (\{.*?\n\})", re.DOTALL)


def frame_style() -> Markup:
    """frame.css for a page without scripts, which is dark when the system is."""
    return Markup(_DARK.sub(r"@media (prefers-color-scheme: dark) { :root \1 }", style("frame.css")))


def style(name: str) -> Markup:
    """A style sheet of `assets`, to stand in a page."""
    return Markup((HERE / "assets" / name).read_text(encoding="utf-8"))


TEMPLATES.globals["frame_style"] = frame_style


def render(name: str, **values: object) -> str:
    """The template of that name (its path below `dashboards`), filled in."""
    return TEMPLATES.get_template(name).render(values)
