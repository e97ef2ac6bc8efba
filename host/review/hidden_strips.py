"""Where in the picture of the ground that lies which is in no pass: in passes, at their ends, or between.

It was probably sprayed unseen, or got nothing although the spray was on. How much it is comes from
host.review.hidden_ground; where it lies across the boom nobody measured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from host.pipeline import Pass, Unassigned
from host.review.hidden_ground import Known, hidden_behind
from host.review.place import place_in_pass
from host.review.track import Track

LEAST_M = 0.5  # less is not drawn
_NEARLY = 0.1  # of a pass: by so much less than a whole one is still a pass of its own
NOTHING = -2  # the level of ground that got nothing: far under
_TOUCHES_S = 0.5  # between the end of a pass and what is not assigned: one follows the other


Length = tuple[float, int | None]  # metres, and their level: None where it is not known


@dataclass
class Beside:
    """What lies beside that which is known of a pass: `lead` ahead of it, `inside` at its places, `tail` behind it.

    `before` are whole passes ahead of it of which nothing is known, or which got nothing.
    """

    lead: list[Length] = field(default_factory=list)
    tail: list[Length] = field(default_factory=list)
    inside: list[tuple[float, Length]] = field(default_factory=list)  # metres from the start of what is known
    before: list[Length] = field(default_factory=list)


def beside_passes(track: Track, passes: Sequence[Pass], unassigned: Sequence[Unassigned], known: Known) -> list[Beside]:
    """One for each pass, and one more whose `before` are those behind the last pass."""
    found = [Beside() for _ in range(len(passes) + 1)]
    longest = max((one.distance_m for one in passes), default=0.0)
    for one in unassigned:
        hidden = hidden_behind(one, known)
        for area_m2, level in ((hidden.area_m2, None), (hidden.dry_m2, NOTHING)):
            length = area_m2 / known.swath_m
            if not length >= LEAST_M:
                continue
            within = next((at for at, a_pass in enumerate(passes) if _lies_in(one, a_pass)), None)
            if within is not None:
                found[within].inside.append((place_in_pass(track, passes[within], one.start_s), (length, level)))
            else:
                _between(found, passes, one, (length, level), longest)
    return found


def _lies_in(one: Unassigned, a_pass: Pass) -> bool:
    return one.start_s < a_pass.end_s - _TOUCHES_S and one.end_s > a_pass.start_s + _TOUCHES_S


def _between(found: list[Beside], passes: Sequence[Pass], one: Unassigned, unseen: Length, longest: float) -> None:
    """Ground that was sprayed between two passes: the rest of the one, whole ones, the beginning of the other.

    Passes are taken to be as long as the longest that is known. What is left to the two is divided by what each lacks.
    """
    length, level = unseen
    after = sum(a_pass.start_s < one.start_s for a_pass in passes)
    lacks = [0.0, 0.0]
    touched = [
        after > 0 and one.start_s - passes[after - 1].end_s < _TOUCHES_S,
        after < len(passes) and passes[after].start_s - one.end_s < _TOUCHES_S,
    ]
    for side, at in enumerate((after - 1, after)):
        if touched[side]:
            lacks[side] = max(longest - passes[at].distance_m, LEAST_M)
    if any(touched):
        whole, each = max(math.floor((length - sum(lacks)) / longest + _NEARLY), 0), longest
    else:
        whole = max(round(length / longest), 1)
        each = length / whole
    found[after].before += [(each, level)] * whole
    rest = length - whole * each
    if rest <= 0.0 or not any(touched):
        return
    share = lacks[0] / sum(lacks)
    if touched[0]:
        found[after - 1].tail.append((rest * share, level))
    if touched[1]:
        found[after].lead.append((rest * (1.0 - share), level))
