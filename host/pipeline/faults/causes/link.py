"""The board and the line to it."""

from __future__ import annotations

from host.pipeline.faults.causes.cause import Cause, Rule, Verdict
from host.pipeline.faults.tuning import TUNING

CAUSES = (
    Cause(
        "board_reset",
        "the board has restarted",
        ("look at its supply plug", "look at the battery's voltage while the pump starts"),
        dosed="none",
        disturbances=("board_reset",),
    ),
    Cause(
        "link_stale",
        "nothing came from the board",
        ("look at the cable at both ends", "move the laptop closer or fix the cable"),
        dosed="none",
        disturbances=("link_stall", "unplug"),
    ),
    Cause(
        "link_poor",
        "lines from the board are being lost",
        ("look at the cable at both ends", "keep it away from pump and battery leads"),
        dosed="none",
        urgent=False,
        disturbances=("line_loss", "line_damage"),
    ),
)
RULES = (
    Rule(
        "link_poor",
        1.0,
        10.0,
        lambda signs: signs.lost_share > TUNING.losses,
        lambda _: Verdict("link_poor"),
    ),
    Rule("board_reset", 0.0, 0.0, lambda signs: signs.restarted, lambda _: Verdict("board_reset"), at_once=True),
    Rule("link_stale", 0.0, 0.0, lambda signs: signs.silence, lambda _: Verdict("link_stale"), at_once=True),
)
