"""Rate along the passes: some of the document's plots at a time, with their numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dash import dcc, html

from dashboards.ui.document_view import blocks_view
from dashboards.ui.forms import attributes
from host.documents.document import Block, Plot, Section, Table
from host.errors import visible
from host.review.ground_sections import BINS

AT_ONCE = 8  # passes in one figure


def along_view(section: Section) -> html.Section | html.Details:
    """The section with the first passes, and a choice of the others."""
    plots_at = [index for index, block in enumerate(section.blocks) if isinstance(block, Plot)]
    if not plots_at:
        return html.Section([html.H2(visible(section.heading)), *blocks_view(section.blocks)], className="part")
    others = [block for block in section.blocks[plots_at[-1] + 1 :] if block.key != BINS]
    content = [
        *blocks_view(section.blocks[: plots_at[0]]),
        *_choice(_groups(section)),
        html.Div(strips_view(section, 0), id="run-strips"),
        *blocks_view(others),
    ]
    return html.Details([html.Summary(visible(section.heading)), *content], className="part")


def strips_view(section: Section, first: int) -> list[Any]:
    """The plots of AT_ONCE passes from the `first` of the plots on, and the table of their bins."""
    groups = _groups(section)
    here = {number for place, number in enumerate(_numbers(section)) if first <= place < first + AT_ONCE}
    shown: list[Block] = list(groups.get(first, ()))
    for block in section.blocks:
        if isinstance(block, Table) and block.key == BINS:
            kept = [place for place, row in enumerate(block.rows) if row[0] in here]
            marked = frozenset(new for new, place in enumerate(kept) if place in block.marked)
            shown.append(replace(block, rows=tuple(block.rows[place] for place in kept), marked=marked))
    return blocks_view(shown)


def _groups(section: Section) -> dict[int, Sequence[Plot]]:
    """The plots, AT_ONCE together, by the place of the first."""
    plots = [block for block in section.blocks if isinstance(block, Plot)]
    return {first: plots[first : first + AT_ONCE] for first in range(0, len(plots), AT_ONCE)}


def _numbers(section: Section) -> list[Any]:
    """The number of each plot's pass: only passes with bins are plotted."""
    bins = next(block for block in section.blocks if isinstance(block, Table) and block.key == BINS)
    return list(dict.fromkeys(row[0] for row in bins.rows))


def _choice(groups: dict[int, Sequence[Plot]]) -> list[Any]:
    if len(groups) < 2:
        return []
    options: Any = [
        {"label": f"{first + 1} to {first + len(plots)}", "value": first} for first, plots in groups.items()
    ]
    chips = dcc.RadioItems(id="run-passes", options=options, value=0, className="chips")
    return [
        html.Div(
            [html.P("Passes", className="name"), chips],
            className="choice no-print",
            role="group",
            **attributes({"aria-label": "Passes"}),
        )
    ]
