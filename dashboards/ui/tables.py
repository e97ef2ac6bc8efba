"""Tables of many rows as one component: Dash takes seconds over a thousand. tables.js builds them, from text alone."""

from __future__ import annotations

import json
from collections.abc import Sequence

from dash import html

from dashboards.ui.fields import plain
from dashboards.ui.forms import attributes


def wide_table(
    headings: Sequence[str], rows: Sequence[Sequence[str]], marked: frozenset[int] = frozenset(), name: str = "Table"
) -> html.Div:
    """A table that scrolls by itself where it is too wide or too long; `marked` rows are to be looked at."""
    content = {"name": plain(name), "headings": list(headings), "rows": [list(map(plain, row)) for row in rows]}
    text = json.dumps(content | {"marked": sorted(marked)}, ensure_ascii=False, separators=(",", ":"))
    return html.Div(className="scrolls", **attributes({"data-table": text}))
