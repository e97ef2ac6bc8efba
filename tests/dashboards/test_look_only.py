"""What a guest who may only look gets of the pages' callbacks, and what is refused: asked without a browser."""

from __future__ import annotations

import json
from typing import Any

import pytest

from dashboards.context import PageContext
from dashboards.pages import PAGES
from dashboards.shell import ONLY_LOOKS, Shell, build_shell
from dashboards.web.callbacks import PATH, CallbackFilter
from dashboards.web.look_only import LookOnly
from dashboards.web.visitor import VISITOR, Visitor
from host.run_folder import cards_folder
from tests.dashboards.asked import everything, told

JSON = {"type": "http", "method": "POST", "path": PATH, "headers": [(b"content-type", b"application/json")]}
PRESSED = [
    ("press", "save"),
    ("press", "act"),
    ("drop", 2),
    ("use", "20260514-meter.toml"),
    ("stop", "20260514-meter.toml"),
    ("cards", "undo"),
]


@pytest.fixture(scope="module")
def shell(tmp_path_factory: pytest.TempPathFactory) -> Shell:
    folder = tmp_path_factory.mktemp("runs")
    return build_shell(PageContext(folder, cards_folder(folder)))[0]


def _callbacks(shell: Shell, id_: str) -> list[tuple[str, dict[str, Any]]]:
    """Outputs and places of the callbacks that an input with that id starts."""
    return [
        (outputs, known)
        for outputs, known in shell.callback_map.items()
        if any(one["id"] == id_ for one in known["inputs"])
    ]


def _ask(shell: Shell, outputs: str, known: dict[str, Any], id_: Any, clicks: Any) -> tuple[int, bytes]:
    """Status and body for a guest who may only look, when the input `id_` starts that callback."""
    inputs: list[Any] = []
    for place in known["inputs"]:
        pattern = place["id"].startswith("{")
        mine = pattern and isinstance(id_, dict) and json.loads(place["id"]).keys() == id_.keys()
        one = {"id": id_ if mine else place["id"], "property": place["property"], "value": clicks}
        inputs.append(([one] if mine else []) if pattern else one)
    name = id_ if isinstance(id_, str) else json.dumps(id_, sort_keys=True, separators=(",", ":"))
    body = {
        "output": outputs,
        "inputs": inputs,
        "state": [[] if one["id"].startswith("{") else {**one, "value": None} for one in known["state"]],
        "changedPropIds": [f"{name}.{known['inputs'][0]['property']}"],
    }
    known = CallbackFilter(everything, shell.callback_map, shell.reading)
    app = LookOnly(known, lambda _: None, known, ONLY_LOOKS)
    token = VISITOR.set(Visitor("1", "iPhone 1", looks_only=True))
    try:
        start, *rest = told(app, dict(JSON), {"type": "http.request", "body": json.dumps(body).encode()})
    finally:
        VISITOR.reset(token)
    return start["status"], rest[0]["body"] if rest else b""


@pytest.mark.parametrize(("key", "value"), PRESSED)
def test_who_may_only_look_presses_no_button_of_calibrate_and_is_told(shell: Shell, key: str, value: Any) -> None:
    ((outputs, known),) = _callbacks(shell, f'{{"{key}":["ALL"]}}')
    status, body = _ask(shell, outputs, known, {key: value}, 1)
    assert (status, b"You may only look" in body) == (200, True)
    assert json.loads(body)["response"] == {}, "nothing changes"


@pytest.mark.parametrize(("key", "value"), PRESSED)
def test_a_button_that_is_only_drawn_is_not_refused_aloud(shell: Shell, key: str, value: Any) -> None:
    ((outputs, known),) = _callbacks(shell, f'{{"{key}":["ALL"]}}')
    assert _ask(shell, outputs, known, {key: value}, None) == (204, b"")


@pytest.mark.parametrize("id_", ["calibrate-kind", "calibrate-due", "calibrate-now", "cards-changed"])
def test_who_may_only_look_sees_what_calibrate_shows(shell: Shell, id_: str) -> None:
    found = _callbacks(shell, id_)
    assert found
    for outputs, known in found:
        status, body = _ask(shell, outputs, known, id_, 1)
        assert status == 200
        assert json.loads(body)["output"] == outputs, "let through"


def test_every_page_with_callbacks_says_which_of_them_change_something(shell: Shell) -> None:
    """A page that says nothing would be refused as a whole."""
    assert [page.path for page in PAGES if page.connect and page.changes is None] == []
    named = {one["id"] for known in shell.callback_map.values() for one in known["inputs"]}
    for page in PAGES:
        if page.path != "/guests":  # has callbacks only when shared
            assert (page.changes or frozenset()) <= named, page.path
