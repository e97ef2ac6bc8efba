"""Who may only look is refused whatever would change something: one rule, for addresses of ours and for callbacks."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

from dashboards.web import callbacks
from dashboards.web.asgi import AsgiApp, Receive, Scope, Send, answer, replayed
from dashboards.web.callbacks import CallbackFilter
from dashboards.web.page_server import Rules
from dashboards.web.visitor import ONLY_LOOKS, may_only_look

READING = frozenset({"GET", "HEAD"})
_REFUSED = json.dumps({"ok": False, "sentence": ONLY_LOOKS, "messages": [ONLY_LOOKS]})


class LookOnly:
    """An ASGI application that lets a visitor who may only look read, and answers 403 to all else.

    A request that is no reading, and of which nothing is known, counts as one that changes something. Of callbacks
    `known` says which only read; the others get `refusal`, and nothing where a button was drawn and not pressed.
    """

    def __init__(
        self,
        app: AsgiApp,
        rules: Callable[[Scope], Rules | None],
        known: CallbackFilter,
        refusal: Mapping[str, Any],
    ) -> None:
        self._app, self._rules, self._known = app, rules, known
        self._refusal = json.dumps(refusal)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request; that of a callback has its body in one message (see size_limits.py)."""
        if scope["type"] != "http" or not may_only_look():
            await self._app(scope, receive, send)
        elif scope["path"] == callbacks.PATH and scope["method"] == "POST":
            await self._callback(scope, receive, send)
        elif rules.changes if (rules := self._rules(scope)) else scope["method"] not in READING:
            await answer(send, 403, _REFUSED, kind="application/json")
        else:
            await self._app(scope, receive, send)

    async def _callback(self, scope: Scope, receive: Receive, send: Send) -> None:
        message = await receive()
        body = message.get("body", b"")
        if self._known.is_form_of_ours(body) and not self._known.only_reads(body):
            if callbacks.is_pressed(body):
                await answer(send, 200, self._refusal, kind="application/json")
            else:
                await answer(send, 204, "")  # as Dash answers when nothing is to change
            return
        await self._app(scope, replayed(message, receive), send)
