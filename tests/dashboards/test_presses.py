"""Which button was pressed, where a tap falls into the moment in which others are drawn."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from dash import ALL, Dash, Input, Output, html

from dashboards.context import PageContext
from dashboards.guests.page import NEW
from dashboards.pages import PAGES
from dashboards.shell import HERE, build_shell
from dashboards.ui.presses import pressed
from host.run_folder import cards_folder

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


def test_all_that_changes_something_is_a_press_which_is_not_asked_again_when_its_answer_is_lost(tmp_path: Path) -> None:
    """frame.js knows a press by what Dash says has changed. Said twice, what new guests may do stays the same."""
    shell, _ = build_shell(PageContext(tmp_path, cards_folder(tmp_path)))
    found = re.search(r"const PRESS = /(.+)/;", (HERE / "assets" / "frame.js").read_text(encoding="utf-8"))
    assert found
    inputs = {(one["id"], one["property"]) for known in shell.callback_map.values() for one in known["inputs"]}
    changing = {id_ for page in PAGES for id_ in page.changes or ()} - {NEW}
    names = [f"{id_}.{part}" for id_, part in inputs if id_ in changing]
    assert len(names) > 10
    assert [name for name in names if not re.search(found[1], json.dumps([name]))] == []
