"""A page in place of a file or report that cannot be given."""

from __future__ import annotations

from starlette.responses import HTMLResponse, Response

from host.documents.document import Document
from host.documents.html import format_html
from host.documents.words import sentence
from host.errors import UserError


def refused(error: UserError, way: tuple[str, str] = ("/runs", "To the runs")) -> Response:
    """404 and a page with the message, and a `way` on: address and words."""
    document = Document("refused", "Not shown", sentence(str(error)), ())
    return HTMLResponse(format_html(document, [way]), status_code=404)
