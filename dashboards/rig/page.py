"""Rig: the sprayer in use, what does not fit, how well each part of it is known, and the text of its rig file."""

from __future__ import annotations

from dash import html

from dashboards.context import PageContext, RigInUse
from dashboards.ui.document_view import answer_view, sections_view
from dashboards.ui.forms import attributes
from dashboards.ui.ways import rig_line
from host.documents.words import sentence
from host.errors import UserError
from host.library import Library
from host.review.card_marks import marks_in
from host.review.season import season_of
from host.rig.rig_folder import last_bringup
from host.setup.rig_document import rig_document

_WAYS = (("Change", "/setup"), ("Try the board", "/bringup"), ("Calibrate", "/calibrate"))
_FIRST = ("fit", "gaps")  # sections beside the answer


def layout(context: PageContext) -> html.Main:
    """The page for the rig at hand."""
    try:
        used = context.rig()
    except UserError as error:
        return html.Main([html.H1("Rig"), html.P(sentence(str(error)), className="notice")], className="sheet")
    document = rig_document(
        used.rig, used.cards, kinds=context.kinds, due=_due(context, used), bringup=_bringup(context, used)
    )
    first = [section for section in document.sections if section.key in _FIRST]
    rest = [section for section in document.sections if section.key not in _FIRST]
    return html.Main(
        [
            html.H1("Rig"),
            rig_line(used.said, used.own),
            answer_view(document),
            *sections_view(first),
            html.Div([html.A(words, href=to, className="press") for words, to in _WAYS], className="acts"),
            html.Div(sections_view(rest), className="spread"),
            _text(used),
        ],
        className="sheet",
    )


def _due(context: PageContext, used: RigInUse) -> str:
    """As the season says; from runs that have been listed before, so that the page waits for no reading."""
    try:
        entries, unread = Library(context.runs).known()
    except UserError as error:
        return str(error)
    digests = [entry.digest for entry in entries if entry.digest is not None and entry.digest.rig == used.rig.name]
    if not digests:
        return "not known: the page Runs has read no run of this rig yet"
    left = f" ({len(unread)} runs have not been read yet: open the page Runs)" if unread else ""
    return season_of(digests, marks_in(context.cards, used.rig.name)[0]).due.text + left


def _bringup(context: PageContext, used: RigInUse) -> str:
    known = next((each for each in context.rigs() if each.rig and each.rig.name == used.rig.name), None)
    return last_bringup(context.runs, known.name) if known else ""


def _text(used: RigInUse) -> html.Details:
    cards = " Active cards are used in place of its sections." if used.cards else ""
    return html.Details(
        [
            html.Summary("Rig file"),
            html.P(f"The file that describes this sprayer.{cards}"),
            html.Pre(
                used.rig.toml,
                id="rig-text",
                className="file",
                tabIndex=0,
                role="region",
                **attributes({"aria-label": "Text of the rig file"}),
            ),
            html.Div(html.Button("Copy", **attributes({"data-copies": "rig-text"})), className="acts"),
            html.P(id="rig-copied", role="status"),
        ],
        className="fold",
    )
