"""The browsers that were let in, and what may be done about them."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from dash import ALL, Dash, Input, Output, State, dcc, html

from dashboards.context import PageContext
from dashboards.sharing.guests import LONGEST_NAME, Guest, Guests
from dashboards.ui.forms import attributes, entry_id, labelled
from dashboards.ui.polling import asking, connect_polls, due, polls
from dashboards.ui.presses import pressed
from dashboards.web.visitor import VISITOR, Visitor
from host.documents.words import sentence
from host.errors import UserError

LOOK_MS = 3_000
POLL = "guests"
FORM, OUT, LOOK, NEW, SHARE = "guest", "guest-out", "guest-look", "guests-new", "guests-share"
EVERYTHING, ONLY_LOOK = "everything", "look"
CHANGES = frozenset({NEW, SHARE, "guest-name-save", '{"do":["ALL"],"guest":["ALL"]}'})
_NOT_SHARED = "These pages are open on this computer only. A phone needs them open to your network."
_SHARED_NEXT = "Open to your network from the next start of Swardflow on. Then this page shows the link for a phone."


def layout(context: PageContext) -> html.Main:
    """The page as the visitor may see it."""
    guests = context.guests
    if guests is None:
        button = html.Button("Open them to my network", id=SHARE, className="main")
        return html.Main(
            [
                html.H1("Guests"),
                html.P(_NOT_SHARED, className="notice"),
                html.Div(button, className="acts" if context.starting.settings else "hidden"),
                html.P(id="guests-shared", className="notice part", role="status"),
            ],
            className="sheet",
        )
    choice = ONLY_LOOK if guests.looks_only else EVERYTHING
    return html.Main(
        [
            html.H1("Guests"),
            html.Div(_listed(guests, VISITOR.get()), id="guests-list"),
            html.Details(
                [
                    html.Summary("Let somebody in"),
                    html.Div(_invitation(context, VISITOR.get()), id="guests-invite"),
                ],
                className="fold",
            ),
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
            *polls(POLL, LOOK_MS),
        ],
        className="sheet",
    )


def connect(app: Dash, context: PageContext) -> None:
    """Put the page's callbacks on the application."""
    guests = context.guests
    if guests is None:
        _connect_sharing(app, context)
        return

    connect_polls(app, POLL)

    @app.callback(
        Output("guests-invite", "children"), Output("guests-list", "children"), due(POLL), running=asking(POLL)
    )
    def again(_: int | None) -> tuple[Any, Any]:
        return _invitation(context, VISITOR.get()), _listed(guests, VISITOR.get())

    @app.callback(
        Output("guests-list", "children", allow_duplicate=True),
        Input({"do": ALL, "guest": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def act(_: list[int | None]) -> Any:
        button = pressed()
        guest = guests.named(str(button["guest"]))
        if guest and button["do"] == OUT:
            guests.turn_out(guest.id)
        elif guest and button["do"] == LOOK:
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


def _connect_sharing(app: Dash, context: PageContext) -> None:
    @app.callback(Output("guests-shared", "children"), Input(SHARE, "n_clicks"), prevent_initial_call=True)
    def share(_: int | None) -> str:
        try:
            context.remember(share="yes")
        except UserError as error:
            return sentence(str(error))
        return _SHARED_NEXT


def _invitation(context: PageContext, visitor: Visitor | None) -> list[Any]:
    """Link, as a picture for a phone's camera, and code; for who may do everything."""
    if visitor is None or visitor.looks_only:
        return [html.P("You may only look: ask somebody who may do everything.")]
    link, code = context.invite()
    if not link:
        return [html.P("This computer is on no network. Join one, such as a phone's hotspot: the link appears then.")]
    import segno

    address = link.partition("/?")[0]
    picture = segno.make(link, micro=False, error="m").svg_data_uri(border=2, scale=5, dark="#000", light="#fff")
    return [
        html.Img(src=picture, alt="The link, for a phone's camera", className="invitation"),
        html.P(["Or open ", html.B(address), " there and type the code ", html.B(code, className="code"), "."]),
        html.P("Each opens one browser. Not encrypted: others on this network could read along."),
    ]


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
