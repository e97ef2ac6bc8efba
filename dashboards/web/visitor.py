"""Who asks: set for each request by the session middleware, read by whoever keeps a name or refuses."""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass


@dataclass(frozen=True)
class Visitor:
    """A browser that was let in: its session's name, what people call it, and whether it may only look."""

    id: str
    name: str
    looks_only: bool = False
    own: bool = False  # this computer's own browser


ONLY_LOOKS = "You may only look. Ask at the computer at the sprayer for more."
VISITOR: ContextVar[Visitor | None] = ContextVar("visitor", default=None)


def may_only_look() -> bool:
    """Whether the visitor of this request may change nothing."""
    visitor = VISITOR.get()
    return visitor is not None and visitor.looks_only


def visitor_name() -> str:
    """What the visitor of this request is called; empty for this computer's own browser and outside of requests."""
    visitor = VISITOR.get()
    return "" if visitor is None or visitor.own else visitor.name
