"""The pressure is not what it should be: suction, strainer, battery, pump, regulator."""

from __future__ import annotations

from host.pipeline.faults.causes.cause import HANDS_OFF, Cause, Evidence, Rule, Verdict
from host.pipeline.faults.tuning import TUNING

CAUSES = (
    Cause(
        "pressure_down",
        "pressure is down since the run began: strainer, battery, suction or the knob",
        (
            "has the knob been turned?",
            "look at the battery's voltage",
            f"clean the suction strainer, {HANDS_OFF}",
        ),
        "pressure comes back when the boom is shut: the pump gets or gives too little; if not, it is the regulator",
        "under",
        urgent=False,
        not_simulated="a strainer, a battery or a regulator that loses less than half of the pressure",
    ),
    Cause(
        "pressure_low",
        "pressure does not hold",
        (
            "look at the battery's voltage",
            "look at the regulator's knob: has it been turned or shaken loose?",
            f"clean the suction strainer, {HANDS_OFF}",
        ),
        "pressure comes back when the boom is shut: the pump gets or gives too little; if not, it is the regulator",
        "under",
        not_simulated="its first name, before the boom has been shut: see supply_short and regulator",
    ),
    Cause(
        "supply_short",
        "pump gives too little: suction or strainer blocked, or battery weak",
        (
            "look at the battery's voltage",
            "look for a kinked or sucking-flat hose",
            f"clean the strainer, {HANDS_OFF}",
        ),
        "voltage is good: it is the suction side",
        "under",
        look_alikes=("battery",),
        disturbances=("strainer",),
    ),
    Cause(
        "regulator",
        "regulator does not hold, or its knob has been turned",
        ("turn the knob back up and watch the pressure", f"look for dirt under the regulator's seat, {HANDS_OFF}"),
        "the knob does nothing: dirt in the seat or a broken spring",
        "under",
        disturbances=("regulator",),
    ),
    Cause(
        "battery",
        "battery is going flat",
        ("look at the voltage while the pump runs", "feel for hot clamps", "change or charge it; no sparks near it"),
        dosed="under",
        disturbances=("battery",),
    ),
)


def _pressure_low(evidence: Evidence) -> Verdict:
    if evidence.nearly_empty:
        return Verdict("tank_empty", ("air",), 0.8)
    return Verdict("battery", sure=0.95) if evidence.supply_low else Verdict("pressure_low", sure=0.85)


def _pressure_down(evidence: Evidence) -> Verdict:
    if evidence.nearly_empty:
        return Verdict("tank_empty", ("air",), 0.8)
    return Verdict("battery", sure=0.95) if evidence.supply_low else Verdict("pressure_down", sure=0.85)


def fallen(moved: float, nearly_empty: bool) -> Verdict | None:
    """What a fall of c is called in which ln P has `moved` by so much: down, as with no nozzle that clogs and no meter;
    None where it has not, or where that is not known (NaN)."""
    if not moved <= -TUNING.fallen:
        return None
    return Verdict("tank_empty", ("air",), 0.8) if nearly_empty else Verdict("pressure_low", ("air",), 0.6)


RULES = (
    Rule(
        "pressure_low",
        2.0,
        3.0,
        lambda signs: signs.shows_supply & signs.pressure_low,
        _pressure_low,
        # Where it starts and stops, or has only just begun, only a low pressure says something.
        decided=lambda signs: signs.steady_spray | (signs.shows_supply & signs.pressure_low),
        explains=True,
        rank=2,
    ),
    Rule(
        "pressure_down",
        8.0,
        4.0,
        lambda signs: signs.steady_spray & signs.pressure_down,
        _pressure_down,
        decided=lambda signs: signs.steady_spray,
        rank=1,
        quiet=True,
    ),
    Rule("battery", 1.0, 5.0, lambda signs: signs.supply_low, lambda _: Verdict("battery"), rank=3),
)
