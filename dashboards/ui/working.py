"""Where a page shows how far the work that it has asked for is; assets/work.js fills it in."""

from __future__ import annotations

from dash import html

from dashboards.ui.forms import attributes


def working(path: str) -> html.Span:
    """Within a link to `path`: from a tap on it on. Anywhere else: as long as it is on the page."""
    return html.Span(className="working", **attributes({"data-work": path, "aria-live": "off"}))
