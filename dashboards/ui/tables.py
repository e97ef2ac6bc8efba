"""Tables of many rows as one component: Dash takes seconds over a thousand. tables.js builds them, from text alone."""

from __future__ import annotations

import json

from dash import html

from dashboards.ui.forms import attributes
from host.documents.document import Table
from host.errors import visible


def wide_table(table: Table) -> html.Div:
    """A table that scrolls by itself where it is too wide or too long; marked rows are to be looked at."""
    content = {
        "name": visible(table.title or "Table"),
        "headings": list(map(visible, table.headings)),
        "rows": [list(map(visible, row)) for row in table.cells],
        "texts": [place for place, left in enumerate(table.flush_left) if left],
        "marked": sorted(table.marked),
    }
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"))
    return html.Div(className="scrolls", **attributes({"data-table": text}))
