"""Backup: one button gives everything as one file; such a file is looked into, then put back."""

from __future__ import annotations

from dash import html

from dashboards.backup.routes import FILE
from dashboards.context import PageContext
from dashboards.ui.forms import attributes
from dashboards.ui.working import working


def layout(context: PageContext) -> html.Main:
    """The page. Its script sends the chosen file and shows what would change."""
    del context
    status = attributes({"aria-live": "polite"})
    return html.Main(
        [
            html.H1("Backup"),
            html.Div(
                [
                    html.Section(
                        [
                            html.H2("Keep everything", className="part"),
                            html.P(
                                "One file with all runs, notes, calibrations, sprayers, mix sheets and settings. A run "
                                "that is being recorded is in it as far as it goes."
                            ),
                            html.Div(
                                html.A(
                                    ["Save a backup", working(FILE)], href=FILE, className="press main", download=""
                                ),
                                className="acts",
                            ),
                            html.P("Keep it somewhere else: on your computer, or on a memory stick.", className="part"),
                        ]
                    ),
                    html.Section(
                        [
                            html.H2("Put it back", className="part"),
                            html.P("What is missing here is added. Nothing here is overwritten or deleted."),
                            html.Div(
                                html.Button("Choose a backup", id="backup-choose", type="button"), className="acts"
                            ),
                            html.P(id="backup-state", className="notice part", role="status"),
                            html.Ul(id="backup-said", className="remarks part", **status),
                            html.Div(
                                html.Button("Restore", id="backup-restore", type="button", className="main"),
                                id="backup-sure",
                                className="acts hidden",
                            ),
                        ]
                    ),
                ],
                className="halves",
            ),
        ],
        className="sheet",
    )
