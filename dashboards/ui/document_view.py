"""A document as components of a page: answer, then its sections in order. It adds no words."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any
from urllib.parse import quote

from dash import html

from dashboards.ui.figures import figures
from dashboards.ui.forms import attributes
from dashboards.ui.plots import figure_of, graph
from dashboards.ui.tables import wide_table
from host.documents.document import Block, Document, Facts, GroundPicture, Messages, Plot, Section, Table
from host.documents.ground_svg import describe_ground, format_ground, marks_in_words
from host.errors import visible

_HEADINGS = (html.H2, html.H3, html.H4)


def document_view(document: Document) -> list[Any]:
    """The answer in large type and every section. The page needs forms.css, runs.css and tables.js."""
    return [answer_view(document), *sections_view(document.sections)]


def answer_view(document: Document) -> html.P:
    """The one sentence in large type."""
    return html.P(visible(document.answer), className=f"headline {document.level}")


def sections_view(sections: Sequence[Section]) -> list[Any]:
    """The sections that have something for people."""
    return [section_view(section) for section in sections if section.seen]


def section_view(section: Section, depth: int = 0) -> html.Section | html.Details:
    """One section with what stands in it; `depth` 0 is below the page's own heading."""
    content = [
        *blocks_view(section.blocks),
        *(section_view(inner, depth + 1) for inner in section.sections if inner.seen),
    ]
    css = f"part {section.level}" if depth == 0 else f"inner {section.level}"
    if section.folded:
        return html.Details([html.Summary(visible(section.heading)), *content], className=css)
    heading = [_HEADINGS[min(depth, 2)](visible(section.heading))] if section.heading else []
    return html.Section([*heading, *content], className=css)


def blocks_view(blocks: Sequence[Block]) -> list[Any]:
    """Blocks in order; plots in a row with the same key share one figure."""
    components: list[Any] = []
    for key, group in groupby(blocks, lambda block: block.key if isinstance(block, Plot) else None):
        members = list(group)
        if key is not None:
            components += plots_view([block for block in members if isinstance(block, Plot)])
        else:
            components += [component for block in members for component in _block_view(block)]
    return components


def plots_view(plots: Sequence[Plot]) -> list[Any]:
    """Plots below each other in one figure, over the same x; nothing when there is nothing to draw."""
    figure = figure_of(plots)
    if figure is None:
        return []
    names = [visible(plot.title) for plot in plots]
    words = names[0] if len(names) == 1 else f"{names[0]} … {names[-1]}"
    return [html.Div(graph(figure, words, plots[0].key), role="img", **attributes({"aria-label": words}))]


def ground_view(picture: GroundPicture) -> html.Figure:
    """The ground as an image that follows the page's light and dark; nothing in it is loaded or run."""
    source = "data:image/svg+xml," + quote(format_ground(picture))
    image = html.Img(src=source, alt=visible(describe_ground(picture)))
    signs = [html.Li(visible(words)) for words in marks_in_words(picture)]
    return html.Figure([image, html.Ul(signs)] if signs else image, className="ground")


def _block_view(block: Block) -> list[Any]:
    if isinstance(block, Facts):
        return [figures((visible(label), visible(value)) for label, value in block.seen)] if block.seen else []
    if isinstance(block, Table):
        return _table_view(block)
    if isinstance(block, Messages) and block.messages:
        return _messages_view(block)
    if isinstance(block, GroundPicture):
        return [ground_view(block)]
    return []


def _table_view(table: Table) -> list[Any]:
    if not table.headings:
        return []
    if not table.rows:
        return [html.P(visible(table.empty))] if table.empty else []
    made = wide_table(table)
    if table.folded:
        return [html.Details([html.Summary(visible(table.title)), made], className="numbers")]
    return [*([html.P(visible(table.title), className="name")] if table.title else []), made]


def _messages_view(block: Messages) -> list[Any]:
    made: html.P | html.Ol | html.Ul
    if len(block.messages) == 1 and not block.ordered and not block.folded:
        message = block.messages[0]
        made = html.P(visible(message.text), className=f"message {message.level}")
    elif block.ordered:
        made = html.Ol([html.Li(visible(message.text)) for message in block.messages], className="checks")
    else:
        items = [html.Li(visible(message.text), className=message.level) for message in block.messages]
        made = html.Ul(items, className="remarks")
    if block.folded:
        return [html.Details([html.Summary(visible(block.title)), made])]
    return [*([html.P(visible(block.title), className="name")] if block.title else []), made]
