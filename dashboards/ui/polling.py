"""A page that asks again and again. The next question waits for the answer to the last.

Dash drops the answer to a question that has been asked again meanwhile: with a timer alone, a page never shows anything
once an answer takes longer than the timer's interval.
"""

from __future__ import annotations

from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc

SCRIPT = "polling.js"


def polls(name: str, interval_ms: int, *, disabled: bool = False) -> list[Any]:
    """What a page's layout needs in order to ask every `interval_ms`; `timer(name)` may be disabled and enabled."""
    return [
        dcc.Interval(id=timer(name), interval=interval_ms, disabled=disabled),
        dcc.Store(id=_due(name)),
        dcc.Store(id=_asked(name)),
    ]


def timer(name: str) -> str:
    """The id of the timer."""
    return f"{name}-timer"


def due(name: str) -> Input:
    """What a callback that asks takes as input: how often the timer has gone by when it asks, from 0."""
    return Input(_due(name), "data")


def asking(name: str) -> list[tuple[Output, bool, bool]]:
    """What `running` is for that callback: while it runs, it is not asked again."""
    return [(Output(_asked(name), "data"), True, False)]


def connect_polls(app: Dash, name: str) -> None:
    """Put the question's own callback, which runs in the browser, on the application; the page loads `SCRIPT`."""
    app.clientside_callback(  # type: ignore[no-untyped-call]
        ClientsideFunction("polling", "due"),
        Output(_due(name), "data"),
        Input(timer(name), "n_intervals"),
        State(timer(name), "interval"),
        State(_asked(name), "data"),
        State(_due(name), "data"),
    )


def _due(name: str) -> str:
    return f"{name}-due"


def _asked(name: str) -> str:
    return f"{name}-asked"
