"""What lies behind that which is not assigned: how much ground of it was probably sprayed, and what was not counted."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields, replace

from host.pipeline import Unassigned, Why

_PUT_BACK_S = 12.0  # a board says of which input dropped pulses were within 10 s (PROTOCOL.md section 6)
_ALL_COUNTED = (Why.SILENCE, Why.SWITCH_OPEN)
_NOT_COUNTED = (Why.RESTART, Why.DROPPED, Why.UNHEARD)


@dataclass(frozen=True)
class Known:
    """What the known ground of a run says of the rest: the rate on it, how much was sprayed in a second, the swath.

    `flow_m3_s` is the most that it sprayed in a second of a pass; in a run without one, what the boom sprays by its rig
    file.
    """

    rate_m3_m2: float
    area_m2_s: float
    swath_m: float
    flow_m3_s: float = 0.0
    left_m3: float = math.inf  # in the tank: no more can have gone down unheard


@dataclass(frozen=True)
class Hidden:
    """Ground that was probably sprayed (m²), water that went down uncounted (m³), and ground that got nothing although
    the spray was on (m²)."""

    area_m2: float = 0.0
    uncounted_m3: float = 0.0
    dry_m2: float = 0.0


def hidden_behind(one: Unassigned, known: Known) -> Hidden:
    """An estimate by the rest of the run; without a rate, by what the boom sprays in the time.

    After a silence, or where it flowed with the switch open, all is counted, and the volume says how much ground it
    was: at most the way gone. Where only the volume was measured it says it alone, or only the way; what went down
    uncounted is then the most that it can have been. Where counts are missing the time says it, at the ground that the
    rest of the run sprayed in a second.
    """
    if one.why is Why.NO_WATER:
        return Hidden(dry_m2=one.distance_m * known.swath_m)
    counted = one.volume_m3 if math.isfinite(one.volume_m3) else 0.0
    if known.rate_m3_m2 > 0:
        return _by_the_rate(one, known)
    missing_m3 = one.seconds * known.flow_m3_s - counted
    return Hidden(0.0, min(max(missing_m3, 0.0), known.left_m3) if one.why in _NOT_COUNTED else 0.0)


def _by_the_rate(one: Unassigned, known: Known) -> Hidden:
    if one.why in (Why.NO_WHEEL, Why.NO_PULSES) or (one.why is Why.BOUNCES and math.isfinite(one.volume_m3)):
        return Hidden(one.volume_m3 / known.rate_m3_m2)
    if one.why is Why.NEITHER:
        return Hidden(one.seconds * known.area_m2_s, min(one.seconds * known.flow_m3_s, known.left_m3))
    if one.why in (Why.NO_METER, Why.BOUNCES, Why.NOT_METERED):
        area = one.distance_m * known.swath_m if math.isfinite(one.distance_m) else 0.0
        return Hidden(area, min(one.seconds * known.flow_m3_s, known.left_m3))
    if one.why in _ALL_COUNTED:
        return Hidden(min(one.volume_m3 / known.rate_m3_m2, one.distance_m * known.swath_m))
    area = one.seconds * known.area_m2_s
    if one.why is Why.REFUSED:  # the board has counted what it refused
        return Hidden(area)
    counted = 0.0 if one.why is Why.UNHEARD else one.volume_m3
    area = min(area, (counted + known.left_m3) / known.rate_m3_m2)  # no more than the tank held
    return Hidden(area, max(area * known.rate_m3_m2 - counted, 0.0))


def hidden_in(unassigned: Iterable[Unassigned], known: Known) -> Hidden:
    """The same over a run, all of it together."""
    found = [hidden_behind(one, known) for one in joined(unassigned)]
    names = [column.name for column in fields(Hidden)]
    return Hidden(*(math.fsum(getattr(one, name) for one in found) for name in names))


def joined(unassigned: Iterable[Unassigned]) -> Iterator[Unassigned]:
    """Pulses that a board dropped and put back later belong together: what was missing came after all."""
    last: Unassigned | None = None
    for one in unassigned:
        if last and last.why is one.why is Why.DROPPED and one.start_s - last.end_s < _PUT_BACK_S:
            last = replace(
                last,
                end_s=one.end_s,
                volume_m3=last.volume_m3 + one.volume_m3,
                distance_m=last.distance_m + one.distance_m,
                seconds=last.seconds + one.seconds,
            )
            continue
        if last:
            yield last
        last = one
    if last:
        yield last
