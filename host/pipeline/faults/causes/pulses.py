"""Pulses that do not come evenly: air in the line, or a flow meter that loses pulses or counts false ones."""

from __future__ import annotations

import math
from dataclasses import dataclass

from host.pipeline.faults.causes.cause import Cause, Evidence, Rule, Verdict
from host.pipeline.faults.tuning import TUNING

FLOW_REFUSED = "meter_refused"

CAUSES = (
    Cause(
        "air",
        "air in the suction",
        ("look how full the tank is", "look for a suction hose above the liquid", "tighten the strainer's bowl"),
        "tank well filled: a joint on the suction side draws air",
        "under",
        disturbances=("air",),
    ),
    Cause(
        "meter_missing",
        "flow meter loses pulses",
        ("push the meter's plug home", "look at the wire where it moves", "hold the meter away from metal and motor"),
        "all fans whole and the reading jumps: it is the meter",
        disturbances=("meter_missing",),
    ),
    Cause(
        "meter_noise",
        "false pulses from the flow meter",
        ("keep its wire away from pump and battery leads", "look at its plug for wet", "look at its screen and earth"),
        disturbances=("meter_noise",),
    ),
    Cause(
        FLOW_REFUSED,
        "flow pulses are refused: they come too fast for the filter",
        (
            "see on the page Rig that the meter's kind of sensor is right",
            "hold the wire away from pump and battery leads",
        ),
        not_simulated="the filter is a setting and no event: `flow_filter` of a scenario's board",
    ),
)
FLICKERING = tuple(cause.name for cause in CAUSES)  # they come and go
SOON_USUAL = "meter_missing"  # soon taken for the run's own noise: over only when c is as even again as before it


def _unsteady(evidence: Evidence) -> Verdict:
    return Verdict("tank_empty", ("air",), 0.8) if evidence.nearly_empty else Verdict("air", sure=0.85)


RULES = (
    Rule(
        "false_pulses",
        1.5,
        5.0,
        lambda signs: signs.wrong_share > 0.15,
        lambda _: Verdict("meter_noise"),
        decided=lambda signs: signs.coefficient_settled,
        of_pulses=True,
    ),
    Rule(
        "refused",
        1.0,
        4.0,
        lambda signs: signs.refused_share > 0.15,
        lambda _: Verdict(FLOW_REFUSED),
        explains=True,
    ),
    Rule(
        "unsteady",
        1.0,
        4.0,
        lambda signs: signs.jolt_share > TUNING.rough_ride,
        _unsteady,
        decided=lambda signs: signs.coefficient_settled,
        explains=True,
        rank=3,
    ),
)


@dataclass(frozen=True)
class Before:
    """How things were before a step."""

    log_c: float  # baseline that the step was found against
    log_p_step: float  # median change of ln P from frame to frame
    spread: float  # 0.6-quantile of the change of log c from frame to frame, with a floor
    log_p: float = math.nan  # mean ln P of the last frames


@dataclass(frozen=True)
class After:
    """How they are after it, and how they were measured."""

    log_c: float
    moved: float  # change of ln P at the step
    moved_sd: float  # what it would have moved by itself
    log_p_step: float
    rough: float  # median of how many times noisier the frames were than the run in general
    spread: float
    pulses: float  # in a frame, on average


def judge_roughness(before: Before, after: After) -> Verdict | None:
    """Whether it is air or false or missing pulses; None when it is as steady as before."""
    step = after.log_c - before.log_c
    fewer = min(math.exp(step), 1.0)  # as many times fewer pulses make a report as many times noisier
    # Before the poles are known, another flow shows them more or less: that is far less than a pulse.
    uneven = after.spread * fewer >= TUNING.rough_spread * before.spread
    if after.rough * fewer >= TUNING.rough or (uneven and after.spread * after.pulses >= TUNING.rough_pulses):
        if after.log_p_step >= TUNING.rough_pressure * before.log_p_step:
            return Verdict("air", (), 0.9)
        if abs(after.moved) < TUNING.pulses_only_sigmas * after.moved_sd:
            return Verdict("meter_noise", (), 0.9) if step > 0 else Verdict("meter_missing", ("air",), 0.8)
    return None
