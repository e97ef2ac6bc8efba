"""The arrays and events that a run consists of, and the arithmetic of its counters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, overload

import numpy as np
import numpy.typing as npt

from firmware_protocol.vectorized import REPORT_DTYPE

# A frame: a report of the board with the time at which it arrived (seconds since the start of the run).
FRAME_DTYPE = np.dtype([("host_s", np.float64), *REPORT_DTYPE.descr])

Frames = npt.NDArray[np.void]  # of FRAME_DTYPE
Counters = npt.NDArray[np.integer[Any]]

WRAP = 2**32  # counts, clock and edge times of a report turn over here (PROTOCOL.md section 9)


def together(parts: Sequence[npt.NDArray[np.void]]) -> npt.NDArray[np.void]:
    """A copy of structured arrays of one dtype, shape (n,) each and at least one, one below the other."""
    # NumPy by itself would match their fields each time, which takes longer than the copying.
    dtype = parts[0].dtype
    plain = np.dtype((np.void, dtype.itemsize))
    joined: npt.NDArray[np.void] = np.concatenate([part.view(plain) for part in parts]).view(dtype)
    return joined


@dataclass(frozen=True, slots=True)
class Event:
    """Anything in a run that is not a frame.

    `host_s` is in seconds since the start of the run; `before_frame` is the index, in the frames given with it, of
    the frame that it precedes. `kind` is "header", "rig" (detail: toml), "calibration", "note" (key, value),
    "identity", "hardware", "board_state" (the fields of Identity, Hardware and State in firmware_protocol.messages),
    "trailer", or one of host.events.EVENT_KEYS.
    """

    host_s: float
    before_frame: int
    kind: str
    detail: dict[str, Any]


@overload
def counter_difference(later: int, earlier: int) -> int: ...


@overload
def counter_difference(later: Counters, earlier: Counters | int) -> npt.NDArray[np.int64]: ...


def counter_difference(later: int | Counters, earlier: int | Counters) -> int | npt.NDArray[np.int64]:
    """Pulses or µs from one reading of a 32-bit counter to a later one, 0 to 2³² - 1. Source: PROTOCOL.md section 9.

    Two plain numbers give a plain number; arrays of any integer type, shape (n,), give an array.
    """
    if isinstance(later, np.ndarray):
        return np.asarray((later.astype(np.int64) - earlier) & (WRAP - 1))
    return int((int(later) - int(earlier)) % WRAP)
