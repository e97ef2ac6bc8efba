"""Requests for Dash's callbacks checked before Dash sees them: what no page of ours sends gets 400 and a message."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from dashboards.web.asgi import AsgiApp, Receive, Scope, Send, answer, header_values, replayed

PATH = "/_dash-update-component"
_NOT_JSON = "Refused: a callback is asked for with JSON.\n"
_NOT_OURS = "Refused: no page of Swardflow asks like this.\n"

# What starts a callback: the ids and properties of its inputs, as Dash writes them.
Inputs = frozenset[tuple[str, str]]


class CallbackFilter:
    """An ASGI application that lets a request for a callback through when it has the form that Dash's pages send.

    `known` has an entry for each callback, under the name of its outputs; those of `reading` change nothing.
    """

    def __init__(self, app: AsgiApp, known: Mapping[str, Any], reading: Collection[Inputs]) -> None:
        self._app, self._known, self._reading = app, known, reading

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One connection; the body of a request has to come in one message (see size_limits.py)."""
        if scope["type"] != "http" or scope["path"] != PATH or scope["method"] != "POST":
            await self._app(scope, receive, send)
            return
        kinds = [kind.split(";")[0].strip().lower() for kind in header_values(scope, "content-type")]
        if kinds != ["application/json"]:
            await answer(send, 415, _NOT_JSON)
            return
        message = await receive()
        if not self.is_form_of_ours(message.get("body", b"")):
            await answer(send, 400, _NOT_OURS)
            return
        await self._app(scope, replayed(message, receive), send)

    def only_reads(self, body: bytes) -> bool:
        """Whether a callback, asked for in a form of ours, changes nothing."""
        inputs = self._known[json.loads(body)["output"]]["inputs"]
        return frozenset((one["id"], one["property"]) for one in inputs) in self._reading

    def is_form_of_ours(self, body: bytes) -> bool:
        """Whether the body is JSON that names a known callback and the inputs and states that it has."""
        try:
            asked = json.loads(body)
        except (ValueError, RecursionError):
            return False
        if not isinstance(asked, dict) or not isinstance(asked.get("output"), str):
            return False
        callback = self._known.get(asked["output"])
        changed = asked.get("changedPropIds", [])
        return (
            callback is not None
            and isinstance(changed, list)
            and all(isinstance(one, str) for one in changed)
            and _are_places(asked.get("inputs", []), callback["inputs"])
            and _are_places(asked.get("state", []), callback["state"])
        )


def is_pressed(body: bytes) -> bool:
    """Whether something that has a value started the callback; a button that has just been drawn has none."""
    asked = json.loads(body)
    changed = asked.get("changedPropIds", [])
    return any(one.get("value") and _name(one) in changed for one in _places(asked["inputs"]))


def _places(given: list[Any]) -> Iterator[dict[str, Any]]:
    for one in given:
        yield from one if isinstance(one, list) else [one]


def _name(place: dict[str, Any]) -> str:
    """As Dash writes it: the id's keys in order, without spaces."""
    id_ = place["id"]
    said = id_ if isinstance(id_, str) else json.dumps(id_, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return f"{said}.{place['property']}"


def _are_places(given: Any, wanted: list[dict[str, str]]) -> bool:
    return isinstance(given, list) and len(given) == len(wanted) and all(map(_is_place, given, wanted))


def _is_place(given: Any, wanted: dict[str, str]) -> bool:
    """Whether `given` is the place `wanted`, or a list of places where a callback asks for all of a pattern."""
    if isinstance(given, list):
        return wanted["id"].startswith("{") and all(_has_property(one, wanted) for one in given)
    if not _has_property(given, wanted):
        return False
    name = given["id"]
    if isinstance(name, dict):
        return wanted["id"].startswith("{") and name.keys() == json.loads(wanted["id"]).keys()
    return bool(name == wanted["id"])


def _has_property(given: Any, wanted: dict[str, str]) -> bool:
    return (
        isinstance(given, dict)
        and isinstance(given.get("id"), str | dict)
        and given.get("property") == wanted["property"]
    )
