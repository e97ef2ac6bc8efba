"""The newest state of a run in one small row, for the live page and the terminal."""

from __future__ import annotations

import math
from typing import Any

from host.pipeline.columns import Signals
from host.pipeline.ground import OVER, UNDER
from host.pipeline.pipeline import Pipeline

ON_TARGET = "on target"
WALK_FASTER = "walk faster"
SLOW_DOWN = "slow down"
NOT_SPRAYING = "not spraying"
STANDING = "standing still: stop spraying"
WAIT = "wait for rate"
# Without a wheel the speed is not seen: what is steered is the pressure, at the speed of the timed course.
LOWER_PRESSURE = "lower the pressure"
RAISE_PRESSURE = "raise the pressure"
NO_RATE = "rate not known"
CALIBRATING = "calibrating"  # whoever catches water is told nothing about ground
ADVICE = (
    *(ON_TARGET, WALK_FASTER, SLOW_DOWN, NOT_SPRAYING, STANDING, WAIT),
    *(LOWER_PRESSURE, RAISE_PRESSURE, NO_RATE, CALIBRATING),
)


def live_row(pipeline: Pipeline, signals: Signals) -> dict[str, Any]:
    """The last frame of `signals` (at least one frame, fresh out of `pipeline`), ready for JSON: SI units in the keys.

    Not-a-number becomes None. Sums over the run are those of the review so far. `advice` is one of ADVICE: a rate above
    its band means that too much reaches the ground, so walk faster; below, slow down. Where the sprayer's speed or the
    spray cannot be measured it orders nothing about them. `faults` holds those under way, oldest first, as Fault.row
    gives them.
    """
    last = {name: _plain(getattr(signals, name)[-1]) for name in signals.__dataclass_fields__}
    target = pipeline.rig.target
    low, high = target.rate_m3_m2 * (1 - target.band), target.rate_m3_m2 * (1 + target.band)
    under_way = pipeline.current_pass()
    if not _rate_known(pipeline) or pipeline.calibrating:
        last["pace_wanted_m_s"] = None
    sums = {name: _finite(total) for name, total in pipeline.sums().items()}
    row = last | {name: sums[column] for name, column in _SUMS.items()}
    if not pipeline.measured.ground:
        row |= dict.fromkeys(_OF_GROUND)
    row |= {
        "target_m3_m2": target.rate_m3_m2,
        "keep_m_s": pipeline.rig.course.speed_m_s if pipeline.rig.course else None,  # the speed that all rests on
        "band_low_m3_m2": low,
        "band_high_m3_m2": high,
        "advice": CALIBRATING if pipeline.calibrating else _advice(pipeline, last),
        "pass_distance_m": under_way.distance_m if under_way else 0.0,
        "pass_area_m2": under_way.area_m2 if under_way else 0.0,
        "in_pass": under_way is not None,
        "faults": [fault.row(last["host_s"]) for fault in pipeline.faults() if fault.ended_s is None],
    }
    return row


_SUMS = {
    "area_m2": "ground_m2",
    "over_m2": "over_m2",
    "under_m2": "under_m2",
    "off_target_s": "off_target_s",
    "standing_s": "stationary_s",
    "standing_m3": "stationary_m3",
    "unassigned_s": "unassigned_s",
    "unassigned_m": "unassigned_m",
    "unassigned_m3": "unassigned_m3",
}
_OF_GROUND = ("area_m2", "over_m2", "under_m2", "off_target_s", "standing_s", "standing_m3")


def _advice(pipeline: Pipeline, last: dict[str, Any]) -> str:
    """What the person behind the sprayer should do, one of ADVICE."""
    inputs = pipeline.inputs
    if not (inputs.meter or inputs.switch):
        return NO_RATE
    if not last["spraying"]:
        return NOT_SPRAYING
    if not _rate_known(pipeline):
        return NO_RATE
    if not last["moving"]:
        return NO_RATE if pipeline.wheel_doubted else STANDING
    if last["rate_m3_m2"] is None:
        return WAIT
    more, less = (LOWER_PRESSURE, RAISE_PRESSURE) if pipeline.rig.course else (WALK_FASTER, SLOW_DOWN)
    return {OVER: more, UNDER: less}.get(last["side"], ON_TARGET)


def _rate_known(pipeline: Pipeline) -> bool:
    return pipeline.inputs.ground and not pipeline.refusing


def _plain(value: Any) -> Any:
    return _finite(value.item())


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value
