"""Which button was pressed, where a tap falls into the moment in which others are drawn."""

from __future__ import annotations

import json
from typing import Any

import pytest
from dash import ALL, Dash, Input, Output, html

from dashboards.ui.presses import pressed

SAVE, FIRST, SECOND = '{"press":"save"}', '{"drop":1}', '{"drop":2}'


@pytest.fixture(scope="module")
def app() -> Dash:
    app = Dash("presses")
    app.layout = html.Div(id="did")

    @app.callback(Output("did", "children"), Input({"press": ALL}, "n_clicks"), Input({"drop": ALL}, "n_clicks"))
    def did(*_: Any) -> str:
        return str(pressed())

    return app


def _ask(app: Dash, clicks: dict[str, int | None], changed: list[str]) -> tuple[int, str]:
    """Status and what was pressed, when what has changed comes in that order."""
    inputs = [
        [{"id": json.loads(id_), "property": "n_clicks", "value": clicks[id_]} for id_ in ids]
        for ids in ([SAVE], [FIRST, SECOND])
    ]
    output = {"id": "did", "property": "children"}
    body = {"output": "did.children", "outputs": output, "inputs": inputs}
    body["changedPropIds"] = [f"{id_}.n_clicks" for id_ in changed]
    answer = app.server.test_client().post("/_dash-update-component", json=body)
    return answer.status_code, answer.json["response"]["did"]["children"] if answer.data else ""


@pytest.mark.parametrize("changed", [[SAVE], [FIRST, SECOND, SAVE], [SAVE, FIRST, SECOND]])
def test_a_tap_in_the_moment_in_which_others_are_drawn_is_not_lost(app: Dash, changed: list[str]) -> None:
    assert _ask(app, {SAVE: 3, FIRST: None, SECOND: None}, changed) == (200, "{'press': 'save'}")


def test_buttons_that_are_only_drawn_are_not_pressed_whatever_was_pressed_before(app: Dash) -> None:
    assert _ask(app, {SAVE: 3, FIRST: None, SECOND: None}, [FIRST, SECOND]) == (204, "")
