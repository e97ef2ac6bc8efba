"""Where a run went beyond what its calibrations were made for, and where its figures contradict each other."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from host.documents.words import percent
from host.pipeline import Fault, Pass, Unassigned, Why
from host.review.steady import LEAST_S, steady_rows
from host.review.track import Track
from host.rig import Rig
from host.units import format_value

# Closer to the last catch than this ratio is the same flow or pressure (as host.calibrate.meter.SAME_FLOW).
_NEAR = 1.15
_CONTRADICTS = 3.0  # in pressure: 1.7 in flow, more than wear, a filter or a transducer's drift ever make
# Of a wheel in the rig that is another one: half the pace of a slow stroll, one and a half times the fastest at which a
# boom stays level (CARDS.md: 0.9 and 8 mph, common practice).
_CREEPING_M_S, _RACING_M_S = 0.2, 5.4
_LEAVE_FLOW_ALONE = ("standing", "wheel_stuck", "board_reset", "link_stale", "link_poor")  # faults


def beyond_calibration(rig: Rig, passes: Sequence[Pass]) -> list[str]:
    """A sentence for flow and for pressure, where passes left the range that was caught or read."""
    said = []
    flows = [a_pass.volume_m3 / a_pass.spraying_s for a_pass in passes if a_pass.spraying_s > 0]
    if rig.meter.caught_hz is not None and flows:
        per_m3 = rig.meter.curve[len(rig.meter.curve) // 2][1]
        low, high = (hz / per_m3 for hz in rig.meter.caught_hz)
        again = "its volume is known less well. Catch the meter at this flow, too."
        if max(flows) > _NEAR * high:
            said.append(f"This run's flow was {percent(max(flows) / high - 1)} above the highest catch: {again}")
        if min(flows) < low / _NEAR:
            said.append(f"This run's flow was {percent(1 - min(flows) / low)} below the lowest catch: {again}")
    pressures = [a_pass.pressure_pa for a_pass in passes if a_pass.pressure_pa > 0]
    highest = rig.pressure.highest_pa if rig.pressure is not None else None
    if highest is not None and pressures and max(pressures) > _NEAR * highest:
        said.append(
            f"This run's pressure was {percent(max(pressures) / highest - 1)} above the highest that the transducer "
            "was compared with the gauge at: it is known less well. Compare it there, too."
        )
    return said


def speed_against_walking(rig: Rig, passes: Sequence[Pass], system: str) -> str:
    """That the wheel, as the rig describes it, makes a pace that nobody sprays at; empty otherwise."""
    paces = [one.distance_m / one.spraying_s for one in passes if one.spraying_s > 0]
    pace = float(np.median(paces)) if paces else math.nan
    if rig.wheel is None or not (pace < _CREEPING_M_S or pace > _RACING_M_S):
        return ""
    speed = format_value(pace, "speed", system)
    return (
        f"By the wheel these passes were sprayed at {speed}, and nobody does that: area and rate are wrong. Check the "
        "wheel's circumference and pulses per turn on the page Rig, and whether its sensor gives one pulse for each "
        "magnet."
    )


def pressure_against_flow(rig: Rig, track: Track, faults: Sequence[Fault], unassigned: Sequence[Unassigned]) -> str:
    """That the pressure read is several times what the nozzles need for the flow, or a fraction; empty otherwise.

    By the root law (host.formulas), with the nozzles as the rig file rates them. A setting that is wrong is wrong all
    through the run: it is said where every window of steady spraying contradicts, up to the first fault that changes
    flow or pressure. Whether the wheel turns makes no difference.
    """
    if not len(track):
        return ""
    began_s = min((fault.began_s for fault in faults if fault.kind not in _LEAVE_FLOW_ALONE), default=math.inf)
    here, step_s = steady_rows(track, -math.inf, began_s)
    for one in unassigned:
        if one.why not in (Why.NO_PULSES, Why.NO_WHEEL):
            step_s[track.between(one.start_s, one.end_s)] = 0.0
    use = step_s > 0
    window = (np.cumsum(step_s[use]) / LEAST_S).astype(np.int64)
    poured = np.bincount(window, step_s[use] * track.flow_m3_s[here][use])[:-1]  # the last window is not whole
    rated = np.bincount(window, step_s[use] * rig.nozzles.flow_m3_s(track.pressure_pa[here][use]))[:-1]
    if not len(poured):
        return ""
    times = (rig.nozzles.count * rated / poured) ** 2
    if times.min() < _CONTRADICTS and times.max() > 1 / _CONTRADICTS:
        return ""
    typical = float(np.median(times))
    much = f"{typical:.0f} times" if typical > 1 else f"{percent(typical)} of"
    return (
        f"The pressure read is {much} what these nozzles need for this flow. Check the transducer's range, the nozzles "
        "and the meter's factor on the page Rig, and the converter's full scale that the board states."
    )
