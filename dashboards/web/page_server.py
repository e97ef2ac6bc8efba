"""The server that Dash runs on, and our own addresses on it: each says what it costs and whether it changes something.

The limits in front of the server (size_limits.py, long_work.py, look_only.py) go by these rules alone.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Any

from fastapi import FastAPI
from starlette.routing import BaseRoute, Match

from dashboards.web.asgi import Scope


class Cost(Enum):
    """How long an answer takes the computer."""

    QUICK = "at once"
    LONG = "seconds: a few at a time"
    LARGE = "the same, with a body of any size: the function reads it in pieces and bounds it"


@dataclass(frozen=True)
class Rules:
    """Of one address. `changes`: something is saved, ended or recorded, so who may only look is refused."""

    cost: Cost
    changes: bool


class PageServer(FastAPI):
    """FastAPI without pages of its own (they load scripts from elsewhere), and with the rules of our addresses."""

    def __init__(self) -> None:
        super().__init__(docs_url=None, redoc_url=None, openapi_url=None)
        self._rules: list[tuple[BaseRoute, Rules]] = []

    def declare(self, method: str, path: str, function: Callable[..., Any], cost: Cost, *, changes: bool) -> None:
        """Answer `path` with what `function` returns.

        A plain function is called in a thread, so it is taken to be long: TypeError when it says to be quick.
        """
        if cost is Cost.QUICK and not inspect.iscoroutinefunction(function):
            raise TypeError(f"{path}: what is answered at once is a coroutine")
        self.add_api_route(path, function, methods=[method], include_in_schema=False)
        self._rules.append((self.router.routes[-1], Rules(cost, changes)))

    def rules(self, scope: Scope) -> Rules | None:
        """The rules of the address that a request asks for; None for one that is not ours."""
        if scope["type"] != "http":
            return None
        return next((rules for route, rules in self._rules if route.matches(scope)[0] is not Match.NONE), None)
