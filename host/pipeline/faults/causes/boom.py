"""The boom's opening has changed, or the meter or the transducer makes it look so: named from a step of ln c."""

from __future__ import annotations

import math
from dataclasses import replace

from host.pipeline.faults.causes.cause import HANDS_OFF, Cause, Rule, Verdict
from host.pipeline.faults.causes.sections import whole_nozzles, whole_share
from host.pipeline.faults.tuning import TUNING

CAUSES = (
    Cause(
        "clog",
        "nozzle clogged",
        (
            "look along the boom for a fan that is thin or missing",
            f"tap that nozzle's body; then clean tip and screen with a brush, {HANDS_OFF}",
            "no bad fan: look for a kinked boom hose",
        ),
        "all fans whole: the flow meter reads low, not the boom",
        "under",
        disturbances=("clog", "kink"),
    ),
    Cause(
        "meter_low",
        "flow meter reads low",
        (
            "look along the boom: all fans are whole",
            "compare with a catch test",
            f"clean the meter's rotor, {HANDS_OFF}",
        ),
        "a thin or missing fan: it is a clogged nozzle after all",
        disturbances=("meter_low",),
    ),
    Cause(
        "wear",
        "nozzle worn, or a small leak after the meter",
        ("look for drips at boom, hoses and fittings", "catch each nozzle and compare", "replace worn tips as a set"),
        "a drip or a wet hose: it is a leak",
        "over",
        urgent=False,
        look_alikes=("leak",),
        disturbances=("wear",),
    ),
    Cause(
        "leak",
        "leak after the meter, or a tip loose",
        (
            "look and listen for spray where none should be",
            "hand on each hose joint, gloves on",
            f"tighten, {HANDS_OFF}",
        ),
        "one jet instead of a fan: a tip is lost",
        look_alikes=("lost_tip", "wear"),
        disturbances=("leak",),
    ),
    Cause(
        "lost_tip",
        "nozzle tip lost, or a hose off",
        (
            "look along the boom for a jet instead of a fan",
            f"stop and refit the tip, {HANDS_OFF}",
            "look at the hoses",
        ),
        "all fans whole: a hose or joint leaks",
        "over",
        look_alikes=("leak",),
        disturbances=("lost_tip",),
    ),
    Cause(
        "transducer_drift",
        "pressure reading has moved although the flow has not",
        ("compare with a gauge", "pump off and pressure released: does it read zero?", "span the transducer again"),
        dosed="none",
        urgent=False,
        disturbances=("transducer_drift",),
    ),
)
RULES: tuple[Rule, ...] = ()
_SLOW = (
    ("clog", "meter_low", "transducer_drift"),
    ("wear", "leak", "transducer_drift"),
    ("lost_tip", "leak"),
    ("leak", "lost_tip", "transducer_drift"),
)
RISEN = ("wear", "leak", "lost_tip")
_LOOK_ALIKE = {cause.name: cause.look_alikes for cause in CAUSES}


def judge(
    likelihoods: dict[str, float],
    step: float,
    sudden: bool,
    nozzles: int,
    called: str = "",
    *,
    while_shut: bool = False,
) -> Verdict:
    """The cause of a change of ln c by `step`, from how likely it is by each part (see droop.Droop).

    `called` is what it has been called before: that stays until another is clearly more likely. `while_shut`: it came
    while the boom was shut.
    """
    odds = dict(likelihoods)
    whole = sudden and whole_nozzles(step, nozzles)
    if step > 0:
        odds["meter"] = 0.0  # no rotor turns faster by itself
    elif whole:
        # Of all that a meter may be off by, so much is a whole number of nozzles.
        odds["meter"] *= whole_share(nozzles)
    total = sum(odds.values())
    if total <= 0:
        odds, total = {**dict.fromkeys(odds, 0.0), "orifice": 1.0}, 1.0
    best = max(odds, key=lambda name: odds[name])
    if best != "transducer" and while_shut and whole_nozzles(step, nozzles):
        return Verdict("section_shut", (), 1.0 - max(odds["transducer"] / total, 1.0 - TUNING.whole_sure))
    names = {
        "orifice": _rising(step, nozzles, sudden) if step > 0 else "section_shut" if whole else "clog",
        "meter": "meter_low",
        "transducer": "transducer_drift",
    }
    for name, kind in names.items():
        if kind == called and odds[best] < TUNING.hold_odds * (odds[best] + odds[name]):
            best = name
    if best == "orifice" and step > 0:
        return Verdict(names[best], _LOOK_ALIKE[names[best]], 0.75)
    others = tuple(names[name] for name in odds if name != best and odds[name] / total > 0.1)
    return Verdict(names[best], others, odds[best] / total)


def off_catch(step: float, u: float, nozzles: int) -> Verdict | None:
    """The cause of a boom of which ln c is off its catch test by `step` from the start; None: it agrees, or there is
    no test (NaN). `u`: standard uncertainty of the test's."""
    off = abs(step) > max(TUNING.catch_floor, TUNING.catch_sigmas * u)
    return replace(unseen(step, nozzles), sure=0.6) if off else None


def slowly(verdict: Verdict) -> Verdict:
    """A change that came slowly shows in nothing but c: the regulator has wandered meanwhile by more than it tells."""
    alike = next((kinds for kinds in _SLOW if verdict.kind in kinds), (verdict.kind,))
    return Verdict(verdict.kind, tuple(kind for kind in alike if kind != verdict.kind), min(verdict.sure, 0.5))


def unseen(step: float, nozzles: int) -> Verdict:
    """The cause of a change of ln c by `step` of which the beginning was not seen: by its size."""
    if step < 0:
        kinds = (*(("section_shut",) if whole_nozzles(step, nozzles) else ()), *_SLOW[0])
    else:
        lost = math.expm1(step) * nozzles > TUNING.lost_tip_nozzles
        kinds = next(kinds for kinds in _SLOW if kinds[0] == ("lost_tip" if lost else _rising(step, nozzles, False)))
    return Verdict(kinds[0], kinds[1:], 0.5)


def _rising(step: float, nozzles: int, sudden: bool) -> str:
    worth = math.expm1(step) * nozzles
    if sudden:  # tips wear over days
        return "lost_tip" if worth > TUNING.lost_tip_nozzles else "leak"
    return "leak" if worth > TUNING.wear_nozzles else "wear"
