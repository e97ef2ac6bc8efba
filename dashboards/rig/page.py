"""Rig: the sprayer in use in words and figures, how well each part of it is known, and the text of its rig file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboards.context import PageContext, RigInUse
from dashboards.ui.figures import figures
from dashboards.ui.forms import attributes, table
from host.calibrate.kinds.kind import Kind
from host.calibrate.status import Status, calibration_status
from host.documents.words import sentence
from host.errors import UserError
from host.library import Library
from host.review.card_marks import marks_in
from host.review.season import season_of
from host.rig.describing import describe


def layout(context: PageContext) -> html.Main:
    """The page for the rig at hand."""
    try:
        used = context.rig()
    except UserError as error:
        return html.Main([html.H1("Rig"), html.P(sentence(str(error)), className="notice")], className="sheet")
    return html.Main(
        [
            html.H1("Rig"),
            html.P(used.said, className="rig"),
            html.Div(
                [_parts(used), html.Div([_known(used, context.kinds, _due(context, used)), _text(used)])],
                className="halves",
            ),
        ],
        className="sheet",
    )


def _parts(used: RigInUse) -> html.Section:
    described: list[Any] = []
    for title, rows in describe(used.rig):
        described += [html.H2(title, className="part"), figures(rows)]
    return html.Section(described)


def _known(used: RigInUse, kinds: Sequence[Kind], due: str) -> html.Section:
    known = calibration_status(used.rig, used.cards, kinds)
    rows = [[status.title, _source(status), status.plus_minus or "–"] for status in known]
    return html.Section(
        [
            html.H2("How well it is known", className="part"),
            table(["Part", "From", "± for 95 %"], rows),
            html.P([html.B("Calibration due: "), sentence(due)], className="part"),
            html.P("Calibrate with clean water; a newer card takes the place of an older one.", className="part"),
            html.Div(html.A("Calibrate", href="/calibrate", className="press"), className="acts"),
        ]
    )


def _source(status: Status) -> str:
    if status.made is not None:
        return f"card of {status.made:%Y-%m-%d}"
    return "rig file" if status.plus_minus else "none yet"


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
    return season_of(digests, marks_in(context.cards, used.rig.name)[0]).due + left


def _text(used: RigInUse) -> html.Section:
    whose = "The rig file as the run keeps it" if used.own else "The example's rig file"
    cards = " Active cards are used in place of its sections." if used.cards else ""
    return html.Section(
        [
            html.H2("Its text", className="part"),
            html.P(
                f"{whose}. To change the sprayer, edit your file and give it with --rig when you record; "
                f"host/rig/RIG_FILE.md explains every key, host/calibrate/CARDS.md the cards, "
                f"firmware_protocol/WIRING.md the wires.{cards}"
            ),
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
        ]
    )
