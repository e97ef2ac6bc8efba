"""The browsers that were let in, and what may be done about them."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboards.context import PageContext
from dashboards.sharing.guests import LONGEST_NAME, Guest, Guests
from dashboards.ui.forms import attributes, entry_id, labelled
from dashboards.web.visitor import VISITOR, Visitor

LOOK_MS = 3_000
FORM, OUT, LOOK, NEW = "guest", "guest-out", "guest-look", "guests-new"
EVERYTHING, ONLY_LOOK = "everything", "look"
CHANGES = frozenset({NEW, "guest-name-save", '{"do":["ALL"],"guest":["ALL"]}'})
_NOT_SHARED = "These pages are open on this computer only. To use a phone, start Swardflow with --share."


def layout(context: PageContext) -> html.Main:
    """The page as the visitor may see it."""
    guests = context.guests
    if guests is None:
        return html.Main([html.H1("Guests"), html.P(_NOT_SHARED, className="notice")], className="sheet")
    choice = ONLY_LOOK if guests.looks_only else EVERYTHING
    return html.Main(
        [
            html.H1("Guests"),
            html.Div(_listed(guests, VISITOR.get()), id="guests-list"),
            html.Div(
                [
                    labelled(FORM, "name", "Your name, for marks and notes", None, type="text", maxLength=LONGEST_NAME),
                    html.Div(html.Button("Save name", id="guest-name-save"), className="acts"),
                    html.Div(
                        [
                            html.P("New guests may", className="name"),
                            dcc.RadioItems(
                                id=NEW,
                                options=[
                                    {"label": "Do everything", "value": EVERYTHING},
                                    {"label": "Only look", "value": ONLY_LOOK},
                                ],
                                value=choice,
                                className="chips",
                            ),
                        ],
                        className="choice",
                        role="group",
                        **attributes({"aria-label": "New guests may"}),
                    ),
                ],
                className="guests-own",
            ),
            html.P(id="guests-said", className="notice", role="status"),
            dcc.Interval(id="guests-again", interval=LOOK_MS),
        ],
        className="sheet",
    )


def connect(app: Dash, context: PageContext) -> None:
    """Put the page's callbacks on the application."""
    guests = context.guests
    if guests is None:
        return

    @app.callback(Output("guests-list", "children"), Input("guests-again", "n_intervals"))
    def again(_: int | None) -> Any:
        return _listed(guests, VISITOR.get())

    @app.callback(
        Output("guests-list", "children", allow_duplicate=True),
        Input({"do": ALL, "guest": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def act(_: list[int | None]) -> Any:
        pressed = ctx.triggered_id
        if not isinstance(pressed, dict) or not any(one["value"] for one in ctx.triggered):
            return no_update  # the buttons were drawn, not pressed
        guest = guests.named(str(pressed["guest"]))
        if guest and pressed["do"] == OUT:
            guests.turn_out(guest.id)
        elif guest and pressed["do"] == LOOK:
            guests.let_look_only(guest.id, not guest.looks_only)
        return _listed(guests, VISITOR.get())

    @app.callback(
        Output("guests-said", "children"),
        Input("guest-name-save", "n_clicks"),
        State(entry_id(FORM, "name"), "value"),
        prevent_initial_call=True,
    )
    def rename(_: int | None, name: str | None) -> str:
        visitor = VISITOR.get()
        if visitor is None or not (name or "").strip():
            return "Enter a name first."
        guests.rename(visitor.id, name or "")
        named = guests.named(visitor.id)
        return f"Your name is {named.name} now." if named else ""

    @app.callback(
        Output("guests-said", "children", allow_duplicate=True), Input(NEW, "value"), prevent_initial_call=True
    )
    def choose(value: str) -> str:
        guests.looks_only = value == ONLY_LOOK
        return "New guests may only look." if guests.looks_only else "New guests may do everything."


def _listed(guests: Guests, visitor: Visitor | None) -> Any:
    rows = [_row(guest, visitor) for guest in guests.listed()]
    return html.Ul(rows, className="guests") if rows else html.P("Nobody was let in.")


def _row(guest: Guest, visitor: Visitor | None) -> html.Li:
    you = visitor is not None and visitor.id == guest.id
    may_act = visitor is not None and not visitor.looks_only and not guest.own and not you
    what = "only looks" if guest.looks_only else "may do everything"
    words = f"from {guest.address}, since {datetime.fromtimestamp(guest.since):%H:%M}, {what}"
    change = "Let do everything" if guest.looks_only else "Let only look"
    buttons = [
        html.Button(change, id={"do": LOOK, "guest": guest.id}),
        html.Button("Turn out", id={"do": OUT, "guest": guest.id}),
    ]
    return html.Li(
        [
            html.B(guest.name + (" (you)" if you else "")),
            html.Span(words),
            html.Div(buttons if may_act else [], className="guest-buttons"),
        ]
    )
