"""The units that a browser has chosen for its pages: in a cookie, which frame.js sets."""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar

from dashboards.web.asgi import AsgiApp, Receive, Scope, Send, cookies

COOKIE = "swardflow-units"
SYSTEMS = ("us", "metric")
_WITHOUT = ("/assets/", "/_dash-component-suites/", "/live/")  # nothing there has units
# How to find them out: settings are read for those pages alone that show units.
_UNITS: ContextVar[Callable[[], str]] = ContextVar("units", default=lambda: "")


def shown_units(own: str) -> str:
    """The units to show in this request: those chosen in the browser, else those of the settings, else `own`."""
    return _UNITS.get()() or own


class UnitsChoice:
    """An ASGI application that knows each request's units; `remembered` gives those of the settings, or nothing."""

    def __init__(self, app: AsgiApp, remembered: Callable[[], str] = lambda: "") -> None:
        self._app, self._remembered = app, remembered

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] == "http" and not str(scope["path"]).startswith(_WITHOUT):
            _UNITS.set(lambda: _chosen(scope) or self._remembered())  # holds for this request's task alone
        await self._app(scope, receive, send)


def _chosen(scope: Scope) -> str:
    return next((value for value in cookies(scope, COOKIE) if value in SYSTEMS), "")
