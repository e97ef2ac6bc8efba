"""Rows in which the wheel gave no pulses while the spray was on: whether the sprayer stood shows later, or never."""

from __future__ import annotations

import numpy as np

from host.pipeline.rows import Rows, Why
from host.pipeline.wheel_silence import AGAIN_US


def silent_at_end(rows: Rows) -> bool:
    """Whether the wheel is silent in spraying at the end, or with the spray on and no water: it may not have stood."""
    end = since_turned(rows)
    return bool(end["dry"].any()) or (sprayed_silent(rows) and not end["doubted"].any())


def sprayed_silent(rows: Rows) -> bool:
    """Whether it sprayed at the end for so long without a pulse of the wheel that it may not have stood."""
    end = since_turned(rows)
    return bool(end["step_us"][end["spraying"] & (end["why"] == Why.ASSIGNED)].sum() >= AGAIN_US)


def since_turned(rows: Rows) -> Rows:
    """Those after the wheel's last pulse in them."""
    turned = np.flatnonzero(rows["turned"])
    return rows[turned[-1] + 1 :] if len(turned) else rows


def doubted(rows: Rows) -> Rows:
    """`rows`, with the whole of each silence of the wheel set apart in which it may not have stood."""
    if not rows["doubted"].any():
        return rows
    silence = np.cumsum(rows["turned"])
    apart = ~rows["turned"] & np.isin(silence, silence[rows["doubted"]]) & (rows["why"] == Why.ASSIGNED)
    rows = rows.copy()
    rows["why"][apart] = Why.NO_PULSES
    return rows
