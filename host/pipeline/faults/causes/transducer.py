"""The pressure transducer itself. A zero that has moved is named from the boom's coefficient: see boom.py."""

from __future__ import annotations

from host.pipeline.faults.causes.cause import Cause, Rule, Verdict

CAUSES = (
    Cause(
        "transducer_open",
        "pressure transducer not connected",
        ("push its plug home", "look at the wire where it moves"),
        dosed="none",
        disturbances=("transducer_open",),
    ),
    Cause(
        "transducer_short",
        "pressure beyond the transducer's range, or its signal shorted",
        (
            "look at the gauge: is the pressure more than the transducer reads?",
            "look at its plug for wet or bent pins",
            "look at the wire where it rubs",
        ),
        dosed="none",
        disturbances=("transducer_short",),
    ),
    Cause(
        "transducer_frozen",
        "pressure reading is frozen",
        ("turn the knob: does the reading move?", "pull and refit the transducer's plug"),
        dosed="none",
        disturbances=("transducer_frozen",),
    ),
)
RULES = (
    Rule(
        "transducer_open",
        0.3,
        1.0,
        lambda signs: signs.pressure_unread & signs.low_rail,
        lambda _: Verdict("transducer_open"),
        explains=True,
    ),
    Rule(
        "transducer_short",
        0.3,
        1.0,
        lambda signs: signs.pressure_unread & ~signs.low_rail,
        lambda _: Verdict("transducer_short"),
        explains=True,
    ),
    Rule(
        "transducer_frozen",
        1.5,
        0.5,
        lambda signs: ~signs.pressure_unread & signs.pressure_same & signs.pressure_flat,
        lambda _: Verdict("transducer_frozen"),
        decided=lambda signs: ~signs.pressure_same | (signs.steady_spray & signs.flowing),
        explains=True,
    ),
)
