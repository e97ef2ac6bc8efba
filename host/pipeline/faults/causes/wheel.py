"""The wheel gives no pulses although it sprays: the sprayer stands, or the wheel's sensor has failed."""

from __future__ import annotations

from host.pipeline.faults.causes.cause import Cause, Rule, Verdict

CAUSES = (
    Cause(
        "standing",
        "standing still while spraying",
        ("walk on, or stop spraying", "look whether the wheel turns"),
        "the wheel turns: its sensor gives no pulses",
        "over",
        urgent=False,
        look_alikes=("wheel_stuck",),
        not_simulated="it is no fault of the sprayer; the operator's `stand` brings it about",
    ),
    Cause(
        "wheel_stuck",
        "wheel sensor gives no pulses",
        ("look whether the wheel turns", "look at the sensor's gap to the magnets", "push its plug home"),
        "the sprayer stands still: nothing is wrong with the wheel, stop spraying",
        disturbances=("wheel_stuck",),
    ),
)
RULES = (
    Rule(
        "standing",
        0.3,
        0.05,
        lambda signs: signs.wheel_silent,
        lambda _: Verdict("standing", ("wheel_stuck",), 0.5),
        quiet=True,
        withdrawn=True,
    ),
    Rule(
        "wheel_stuck",
        0.0,
        0.05,
        lambda signs: signs.wheel_doubted,
        lambda _: Verdict("wheel_stuck", ("standing",), 0.85),
        decided=lambda signs: signs.wheel_doubted | signs.wheel_turning,
        follows="standing",
    ),
)
