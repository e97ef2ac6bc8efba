"""The way to the wheel's first pulses after a stop. A pulse brings all the way since the one before at once; with few
magnets that is a stride or two, which was walked at the pace of the rows beside, and so from before the pulse on."""

from __future__ import annotations

import numpy as np

from host.pipeline.rows import Rows, Why
from host.pipeline.standing import pace_beside, stands

_MORE = 1.05  # no pace is quite even


def set_off(rows: Rows, pulse_m: float) -> Rows:
    """`rows` with the way of each setting-off laid back over the rows in which it was walked.

    Who sprays for no longer before the first pulse than the way of a pulse, `pulse_m`, takes at his pace, walked from
    the first row on. What cannot have been walked in `rows` was walked before them, and belongs to no spraying.
    """
    still = stands(rows)
    starts = np.flatnonzero(still[:-1] & ~still[1:]) + 1  # the first row of each that goes on
    pace = pace_beside(rows, still) if len(starts) else 0.0
    if not pace > 0:
        return rows
    rows = rows.copy()
    for going in starts.tolist():
        before = np.flatnonzero(~still[:going])
        first = int(before[-1]) + 1 if len(before) else int(np.argmax(rows["spraying"]))
        # How far it has gone beyond a first pulse is carried on at no known pace: the second pulse says it.
        later = np.flatnonzero(rows["turned"][going + 1 :])
        here = slice(min(first, going), going + 2 + int(later[0]) if len(later) else going + 1)
        if (rows["why"][here] != Why.ASSIGNED).any():
            continue
        most = pace * rows["step_us"][here]
        way = float(np.sum(rows["step_m"][here]))
        behind = np.cumsum(most[::-1])[::-1] - most  # what the rows behind each can hold
        laid = np.clip(way - behind, 0.0, most)
        pulses = int(np.count_nonzero(rows["turned"][here]))
        if not len(before) and float(np.sum(most)) <= _MORE * pulses * pulse_m:
            laid = most
        if len(before):  # it stood within the stretch: all of the way is in it
            laid[-1] += way - float(np.sum(laid))
        rows["step_m"][here] = laid
    return rows
