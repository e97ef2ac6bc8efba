"""A document as a page to print or keep. It loads nothing and runs nothing; every text is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from host.documents.document import Document, Facts, GroundPicture, Messages, Plot, Table
from host.documents.ground_svg import format_ground, marks_in_words
from host.documents.svg import format_svg
from host.errors import visible

_BLOCKS = {"facts": Facts, "table": Table, "messages": Messages, "plot": Plot, "picture": GroundPicture}


def format_html(document: Document, links: Sequence[tuple[str, str]] = ()) -> str:
    """`document` as a whole HTML page. `links` are (address, words) at its end, for a page that is only looked at."""
    return _environment().get_template("page.html").render(document=document, links=links)


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        finalize=_finalized,
    )
    for name, block in _BLOCKS.items():
        environment.tests[name] = lambda value, block=block: isinstance(value, block)
    environment.filters["ground"] = lambda picture: Markup(format_ground(picture))
    environment.filters["signs"] = marks_in_words
    environment.filters["svg"] = lambda plot: Markup(format_svg(plot))
    return environment


def _finalized(value: Any) -> Any:
    """Text from outside cannot turn a line around or hold what no file can be written with."""
    return visible(value) if isinstance(value, str) and not isinstance(value, Markup) else value
