"""Without a switch nobody knows whether the spray was on while nothing went through the meter; but who walks further
than a pass is asked."""

from __future__ import annotations

import math
from collections.abc import Iterator
from statistics import median
from typing import TYPE_CHECKING

from host.events import WORK_PAUSED
from host.units import format_value

if TYPE_CHECKING:
    from host.review.review import Review

_PASSES = 1.5  # walked, in passes: further than a turn
_FEW = 2  # passes, before their length says anything
_BREAKS = ("refill", WORK_PAUSED)  # there a walk has another reason


def dry_walk_messages(review: Review, system: str) -> Iterator[str]:
    """One sentence for each long walk without water, of a rig with a wheel and without a switch."""
    passes, track = review.passes, review.track
    if review.measured.switch or review.rig.wheel is None or len(passes) < _FEW or not review.measured.ground:
        return
    far_m = _PASSES * median(one.distance_m for one in passes)
    ends = [*(one.start_s for one in passes[1:]), math.inf]
    for a_pass, until_s in zip(passes, ends, strict=True):
        here = track.between(a_pass.end_s, until_s)
        way_m = float(track.distance_m[here][-1] - track.distance_m[here][0]) if here.stop > here.start else 0.0
        broken = any(a_pass.end_s < event.host_s < until_s and event.kind in _BREAKS for event in review.run.events)
        if way_m > far_m and not broken:
            way = format_value(way_m, "length", system)
            yield (
                f"From {review.at(a_pass.end_s)} on {way} were walked and nothing went through the meter. If the spray "
                "was on, that ground got nothing, or the meter failed; a spray switch would tell."
            )
