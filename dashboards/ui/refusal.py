"""A page in place of a file or report that cannot be given."""

from __future__ import annotations

from html import escape

from starlette.responses import HTMLResponse, Response

from dashboards.ui.fields import plain
from dashboards.ui.forms import sentence
from host.errors import UserError
from host.review.page import page


def refused(error: UserError) -> Response:
    """404 and a page with the message."""
    told = f"<p>{escape(plain(sentence(str(error))))}</p>"
    return HTMLResponse(page("Not shown", [told, '<p><a href="/runs">To the runs</a></p>']), status_code=404)
