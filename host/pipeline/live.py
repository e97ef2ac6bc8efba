"""The newest state of a run in one small row, for the live page and the terminal."""

from __future__ import annotations

import math
from typing import Any

from host.pipeline.columns import Signals
from host.pipeline.pipeline import Pipeline

ON_TARGET = "on target"
WALK_FASTER = "walk faster"
SLOW_DOWN = "slow down"
NOT_SPRAYING = "not spraying"
STANDING = "standing still: stop spraying"
WAIT = "wait for rate"
ADVICE = (ON_TARGET, WALK_FASTER, SLOW_DOWN, NOT_SPRAYING, STANDING, WAIT)


def live_row(pipeline: Pipeline, signals: Signals) -> dict[str, Any]:
    """The last frame of `signals` (at least one frame, fresh out of `pipeline`), ready for JSON: SI units in the keys.

    Not-a-number becomes None. `advice` is one of ADVICE: a rate above its band means that too much reaches the
    ground, so walk faster; below, slow down. `faults` holds those under way, oldest first, as Fault.row gives them.
    """
    last = {name: _plain(getattr(signals, name)[-1]) for name in signals.__dataclass_fields__}
    target = pipeline.rig.target
    low, high = target.rate_m3_m2 * (1 - target.band), target.rate_m3_m2 * (1 + target.band)
    under_way = pipeline.current_pass()
    row = {name: last[name] for name in _PASSED_ON}
    row |= {
        "target_m3_m2": target.rate_m3_m2,
        "band_low_m3_m2": low,
        "band_high_m3_m2": high,
        "advice": advice(last["spraying"], last["moving"], last["rate_m3_m2"], low, high),
        "pass_distance_m": under_way.distance_m if under_way else 0.0,
        "pass_area_m2": under_way.area_m2 if under_way else 0.0,
        "in_pass": under_way is not None,
        "faults": [fault.row(last["host_s"]) for fault in pipeline.faults() if fault.ended_s is None],
    }
    return row


_PASSED_ON = (
    "host_s",
    "rate_m3_m2",
    "rate_u_m3_m2",
    "spraying",
    "moving",
    "pace_wanted_m_s",
    "flow_m3_s",
    "pressure_pa",
    "speed_m_s",
    "tank_left_m3",
    "tank_covers_m2",
    "area_m2",
    "volume_m3",
    "distance_m",
    "pass_number",
    "off_target_s",
    "standing_s",
    "standing_m3",
    "resets",
    "lost_frames",
)


def advice(spraying: bool, moving: bool, rate: float | None, low: float, high: float) -> str:
    """What the person behind the sprayer should do, one of ADVICE; rates in any one unit."""
    if not spraying:
        return NOT_SPRAYING
    if not moving:
        return STANDING
    if rate is None:
        return WAIT
    if rate > high:
        return WALK_FASTER
    if rate < low:
        return SLOW_DOWN
    return ON_TARGET


def _plain(value: Any) -> Any:
    plain = value.item()
    return None if isinstance(plain, float) and not math.isfinite(plain) else plain
