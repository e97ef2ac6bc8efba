"""What a run itself says of the transducer: its reading before the pump runs, and what two pressures give away.

A transducer that reads e too much makes c = Q/√P seem smaller by e/2P: more at a low pressure than at a high one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from host.calibrate.uncertainty import pooled
from host.pipeline import Pass
from host.review.steady import own_coefficients
from host.review.track import Track
from host.rig import Rig

_LEAST_S = 3.0  # at rest before the first drop
_AT_REST = 0.10  # of the pressure while spraying: more is a pump that runs, or a boom that holds its pressure
_FULL, _FALLEN = 0.03, 0.9  # of the span, as near its end; of that reading, while it sprays
_LEAST_RATIO = 1.25  # of the highest to the lowest pressure of the passes
_LEAST_PASSES = 4
_SCATTER = 0.007  # relative, of the passes' coefficients: assumed, counts with what they show


def reading_at_rest_pa(track: Track, usual_pa: float) -> float | None:
    """What the transducer read before anything flowed, median; None where the pump was running by then."""
    known = _before_the_first_drop(track)
    if not len(known) or float(np.max(np.abs(known))) > _AT_REST * usual_pa:
        return None
    return float(np.median(known))


def swapped_wires(track: Track, passes: Sequence[Pass], rig: Rig) -> str:
    """That the transducer reads its full range at rest and less while it sprays; empty otherwise.

    With signal and supply swapped a ratiometric transducer's output is seen from the other end: what is a tenth of the
    supply at no pressure reads as nine tenths, and falls as the pressure rises.
    """
    known, sensor = _before_the_first_drop(track), rig.pressure
    spraying = [one.pressure_pa for one in passes if math.isfinite(one.pressure_pa)]
    if sensor is None or not len(known) or not spraying:
        return ""
    at_rest, full = float(np.median(known)), float(sensor.pressure_pa(1.0 - sensor.low_fraction, 1.0))
    if abs(at_rest - full) > _FULL * (sensor.high_pa - sensor.low_pa) or max(spraying) > _FALLEN * at_rest:
        return ""
    return (
        "The transducer read its full range before anything flowed, and less while it sprayed. If the pump was off "
        "by then, its wires are swapped (signal and supply): its pressures are wrong, and so is what is said of boom "
        "and nozzles. Flow and rate do not hang on it."
    )


def _before_the_first_drop(track: Track) -> npt.NDArray[np.float64]:
    """Pressures (Pa) that were read before anything flowed; none where that was too short."""
    if not len(track):
        return np.empty(0)
    moving = np.flatnonzero((track.flow_m3_s > 0) | track.spraying)
    end = int(moving[0]) if len(moving) else len(track)
    if end < 2 or track.host_s[end - 1] - track.host_s[0] < _LEAST_S:
        return np.empty(0)
    pressure = np.asarray(track.pressure_pa[:end], dtype=np.float64)
    return pressure[np.isfinite(pressure)]


def error_by_two_pressures(track: Track, passes: list[Pass], rig: Rig) -> tuple[float, float] | None:
    """The transducer's error (Pa) and its standard uncertainty, by the line of the passes' ln c over 1/2P.

    What the nozzles themselves depart from the law of the root is in it, and is the same in all runs. None without
    four passes at pressures that differ by a quarter.
    """
    own = own_coefficients(track, passes, rig)
    if len(own) < _LEAST_PASSES:
        return None
    coefficient, pressure = np.array(own).T
    if pressure.max() < _LEAST_RATIO * pressure.min():
        return None
    x, y = 0.5 / pressure, np.log(coefficient)
    spread = float(((x - x.mean()) ** 2).sum())
    slope = float(((x - x.mean()) * y).sum()) / spread
    left = y - y.mean() - slope * (x - x.mean())
    degrees = len(own) - 2
    scatter, _ = pooled(math.sqrt(float((left**2).sum()) / degrees), degrees, _SCATTER)
    return -slope, scatter / math.sqrt(spread)
