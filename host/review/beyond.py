"""Where a run went beyond what its calibrations were made for, and where its figures contradict each other."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from host.documents.words import percent
from host.pipeline import Pass
from host.rig import Rig

# Closer to the last catch than this ratio is the same flow or pressure (as host.calibrate.meter.SAME_FLOW).
_NEAR = 1.15
_CONTRADICTS = 3.0  # in pressure: 1.7 in flow, more than wear, a filter or a transducer's drift ever make


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


def pressure_against_flow(rig: Rig, passes: Sequence[Pass]) -> str:
    """That the pressure read is several times what the nozzles need for the flow, or a fraction; empty otherwise.

    By the root law (host.formulas), with the nozzles as the rig file rates them.
    """
    known = [one for one in passes if one.pressure_pa > 0 and one.spraying_s > 0 and one.volume_m3 > 0]
    if not known:
        return ""
    rated = ((rig.nozzles.count * float(rig.nozzles.flow_m3_s(one.pressure_pa)), one) for one in known)
    times = median((flow / (one.volume_m3 / one.spraying_s)) ** 2 for flow, one in rated)
    if 1 / _CONTRADICTS < times < _CONTRADICTS:
        return ""
    much = f"{times:.0f} times" if times > 1 else f"{percent(times)} of"
    return (
        f"The pressure read is {much} what these nozzles need for this flow. Check the transducer's range and the "
        "nozzles on the page Rig, and the converter's full scale that the board states."
    )
