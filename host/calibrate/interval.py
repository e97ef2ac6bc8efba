"""Pulses of a marked interval of a recorded run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from host.errors import BadInputError, NotFoundError
from host.events import as_meant
from host.frames import counter_difference
from host.journal import RunFile


@dataclass(frozen=True)
class Interval:
    """What the board counted between two moments; `flowing_s` is how long the meter turned (board's clock)."""

    flow_pulses: int
    wheel_pulses: int
    flowing_s: float


def interval_of_run(run: RunFile, start: str, end: str) -> Interval:
    """Count between two moments of a run, each a time in seconds or the text of a mark.

    Mark while nothing flows, so that no pulse falls between a mark and its frame. Raises UserError.
    """
    frames = run.frames
    moments = [_moment(run, text) for text in (start, end)]
    if len(frames) < 2 or not moments[0] < moments[1]:
        raise BadInputError(f'in {run.path} nothing lies between "{start}" and "{end}": give two moments in order.')
    first, last = (max(0, int(np.searchsorted(frames["host_s"], at, side="right")) - 1) for at in moments)
    chosen = frames[first : last + 1]
    if len(chosen) < 2:
        raise BadInputError(f'in {run.path} no frames lie between "{start}" and "{end}": give a longer interval.')
    if np.any(chosen["boot"] != chosen["boot"][0]):
        raise BadInputError(
            f'in {run.path} the board restarted between "{start}" and "{end}", so its counts do not go on: '
            "give another interval."
        )

    def counted(name: str) -> int:
        return counter_difference(int(chosen[name][-1]), int(chosen[name][0]))

    return Interval(counted("flow_count"), counted("wheel_count"), _flowing_s(chosen))


def _flowing_s(frames: npt.NDArray[np.void]) -> float:
    """From the first pulse to the last, and one period more, so that pulses over this time are the mean frequency."""
    pulses = counter_difference(frames["flow_count"], int(frames["flow_count"][0]))
    turning = np.flatnonzero(pulses)
    if not len(turning) or pulses[-1] == pulses[turning[0]]:
        return 0.0
    edge = frames["flow_edge"]
    span = counter_difference(int(edge[-1]), int(edge[turning[0]])) * 1e-6
    return span * float(pulses[-1]) / float(pulses[-1] - pulses[turning[0]])


def _moment(run: RunFile, text: str) -> float:
    marked = [one for one in as_meant(run.events) if one.kind == "mark"]
    marks = [one.host_s for one in marked if one.detail.get("text") == text]
    if len(marks) > 1:
        raise BadInputError(f'{run.path} has {len(marks)} marks "{text}": give the time in seconds instead.')
    if marks:
        return marks[0]
    try:
        return float(text)
    except ValueError:
        known = sorted({str(one.detail.get("text")) for one in marked})
        hint = f"its marks are: {', '.join(known)}" if known else "it has no marks; give times in seconds"
        raise NotFoundError(f'{run.path} has no mark "{text}": {hint}.') from None
