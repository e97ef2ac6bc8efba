"""The wheel gives no pulses although the sprayer moves."""

from __future__ import annotations

from host.pipeline.faults.causes.cause import Cause, Rule, Verdict

CAUSES = (
    Cause(
        "wheel_stuck",
        "wheel gives no pulses while spraying",
        ("look whether the wheel turns", "look at the sensor's gap to the magnets", "push its plug home"),
        "the sprayer stands still: nothing is wrong with the wheel, stop spraying",
        disturbances=("wheel_stuck",),
    ),
)
RULES = (
    Rule(
        "wheel_stuck",
        0.3,
        0.05,
        lambda signs: signs.wheel_dead,
        lambda _: Verdict("wheel_stuck", sure=0.7),
        decided=lambda signs: (signs.steady_spray & signs.flowing) | signs.wheel_turning,
    ),
)
