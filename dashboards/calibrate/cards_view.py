"""The cards of the rig, with what is in use: use another one, stop using one, undo that."""

from __future__ import annotations

from typing import Any

from dash import ALL, Dash, Input, Output, State, dcc, html

from dashboards.context import PageContext
from dashboards.ui.presses import pressed
from host.calibrate.card_choice import SavedCard, saved_cards, stop_using, undo_choice, use_card
from host.calibrate.cards_document import result_of, use_of
from host.documents.words import sentence
from host.errors import UserError

CHANGES = frozenset({'{"use":["ALL"]}', '{"stop":["ALL"]}', '{"cards":["ALL"]}'})


def layout() -> html.Details:
    """A fold; it is filled in when the page is there."""
    return html.Details(
        [
            html.Summary("Cards"),
            html.Div(id="cards-list"),
            html.P(id="cards-notice", className="notice part", role="status"),
            html.Div(html.Button("Undo the last change of cards", id={"cards": "undo"}), className="acts"),
            dcc.Store(id="cards-changed", data=0),
        ],
        id="cards",
        className="fold part no-print",
    )


def connect(app: Dash, context: PageContext) -> None:
    """Its callbacks: one only reads, for those who may only look."""

    @app.callback(
        Output("cards-list", "children"),
        Input("calibrate-poke", "data"),
        Input("cards-changed", "data"),
    )
    def show(*_: Any) -> Any:
        try:
            return _listed(context, saved_cards(context.cards, context.rig().rig.name))
        except UserError as error:
            return html.P(sentence(str(error)))

    @app.callback(
        Output("cards-notice", "children"),
        Output("cards-changed", "data"),
        Input({"use": ALL}, "n_clicks"),
        Input({"stop": ALL}, "n_clicks"),
        Input({"cards": ALL}, "n_clicks"),
        State("cards-changed", "data"),
        prevent_initial_call=True,
    )
    def choose(*given: Any) -> tuple[str, int]:
        return _done(context, pressed()), int(given[-1] or 0) + 1


def _done(context: PageContext, button: dict[str, str]) -> str:
    try:
        rig = context.rig().rig.name
        if "use" in button:
            return use_card(context.cards, rig, button["use"])
        if "stop" in button:
            return stop_using(context.cards, rig, button["stop"])
        return undo_choice(context.cards, rig)
    except UserError as error:
        return sentence(str(error))


def _listed(context: PageContext, cards: list[SavedCard]) -> Any:
    titles = {kind.name: kind.title for kind in context.kinds}
    if not cards:
        return html.P("No cards yet: the rig file's numbers are used.")
    return html.Ul(
        [_item(saved, titles.get(saved.card.kind, saved.card.kind)) for saved in reversed(cards)], className="cards"
    )


def _item(saved: SavedCard, title: str) -> html.Li:
    when = f"{saved.card.made:%d %b %Y, %H:%M}"
    button = (
        html.Button("Stop using", id={"stop": saved.name}, title=f"Stop using {saved.name}")
        if saved.active
        else html.Button("Use", id={"use": saved.name}, title=f"Use {saved.name}")
    )
    use = use_of(saved)
    return html.Li(
        [
            html.Div(
                [
                    html.B(title),
                    html.Span(f" {when}" + (f", {use}" if use else "")),
                    html.Br(),
                    html.Span(result_of(saved)),
                ]
            ),
            button,
        ],
        className="active" if saved.active else "",
    )
