"""Breaks of a day's work: from Pause to Resume, as somebody tapped them. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from host.events import WORK_PAUSED, WORK_RESUMED
from host.frames import Event
from host.pipeline.columns import Bools, Floats


@dataclass(frozen=True)
class Break:
    """From `start_s` to `end_s` of run time; without an end where the run ended in it."""

    start_s: float
    end_s: float | None


def breaks_of(events: Iterable[Event], host_s: Floats, spraying: Bools) -> list[Break]:
    """The breaks in order. Who forgets Resume and sprays has resumed: the first spraying after a pause ends it.

    `host_s` (n,) in s and `spraying` (n,) are the run's rows. A second pause within one changes nothing.
    """
    breaks: list[Break] = []
    begun: float | None = None
    for event in sorted(events, key=lambda event: event.host_s):
        if begun is not None:
            sprayed = first_spraying_s(begun, host_s, spraying)
            if sprayed is not None and sprayed <= event.host_s:
                breaks.append(Break(begun, sprayed))
                begun = None
        if event.kind == WORK_PAUSED and begun is None:
            begun = event.host_s
        elif event.kind == WORK_RESUMED and begun is not None:
            breaks.append(Break(begun, event.host_s))
            begun = None
    if begun is not None:
        breaks.append(Break(begun, first_spraying_s(begun, host_s, spraying)))
    return breaks


def first_spraying_s(after_s: float, host_s: Floats, spraying: Bools, before: bool = False) -> float | None:
    """When the boom first begins to spray after a moment: what it still sprays at that moment does not count.

    `before` is whether it sprayed in the row before the first one.
    """
    begins = (host_s > after_s) & spraying & ~np.concatenate(([before], spraying))[:-1]
    return float(host_s[begins.argmax()]) if begins.any() else None
