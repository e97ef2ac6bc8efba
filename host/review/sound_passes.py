"""The passes in which the boom was sound: a comparison or a season rests on them alone."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from host.pipeline import Fault, Pass
from host.review.steady import steady_of

if TYPE_CHECKING:
    from host.review.review import Review

# Faults that change Q/√P of a boom, or what the sensors say of it. Wear is what a season is looked through for.
_SPOILING = {
    *("clog", "section_shut", "section_open", "leak", "lost_tip", "air"),
    *("meter_low", "meter_missing", "meter_noise", "meter_stuck", "valve_shut"),
    *("tank_empty", "pump_off", "transducer_open", "transducer_short", "transducer_frozen", "transducer_drift"),
}
_SHOWS_LATE_S = 6.0  # so long after its end a fault is seen to be over
_END_S = 0.3  # how well the end of a pass is known: what began so late in it belongs to the turn
_APART = 0.06  # between neighbours by size: more than scatter, less than one clogged nozzle of ten


def sound_passes(review: Review) -> tuple[list[Pass], list[Pass]]:
    """The passes without a fault that changes what the boom takes or what the sensors say of it, and the others.

    Faults that were called mark the passes they touch. Where none were looked for, passes mark themselves: those whose
    Q/√P lies apart below the rest, as a clogged nozzle puts it.
    """
    touched = {one.number for one in review.passes for fault in review.faults if _touches(fault, one)}
    touched |= _apart_below([one for one in review.passes if one.number not in touched], review)
    sound = [one for one in review.passes if one.number not in touched]
    return sound, [one for one in review.passes if one.number in touched]


def _touches(fault: Fault, one: Pass) -> bool:
    lasts = fault.ended_s is None or fault.ended_s - _SHOWS_LATE_S > one.start_s
    return fault.kind in _SPOILING and fault.began_s < one.end_s - _END_S and lasts


def _apart_below(passes: Sequence[Pass], review: Review) -> set[int]:
    """Numbers of the passes whose coefficient lies apart below that of the others."""
    steady = ((steady_of(review.track, [one], review.rig), one.number) for one in passes)
    found = sorted((sums.coefficient, number) for sums, number in steady if sums is not None)
    gaps = [above[0] / below[0] - 1.0 for below, above in pairwise(found)]
    if not gaps or max(gaps) < _APART:
        return set()
    return {number for _, number in found[: gaps.index(max(gaps)) + 1]}


def passes_words(passes: Sequence[Pass]) -> str:
    """Their numbers as people say them: "passes 2, 4 and 5"."""
    numbers = [str(one.number) for one in passes]
    if len(numbers) == 1:
        return f"pass {numbers[0]}"
    return f"passes {', '.join(numbers[:-1])} and {numbers[-1]}"
