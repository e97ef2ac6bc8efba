"""The tank's balance, and the product that reached the ground."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from host.calibrate.uncertainty import resolution
from host.calibrate.vessels import TANK
from host.errors import BadInputError, UserError
from host.events import (
    NOTE_LABEL_LIMIT,
    NOTE_MIX,
    NOTE_REFILL,
    NOTE_TANK_LEFT,
    as_meant,
    number_of,
)
from host.frames import Event
from host.mix_sheet import sheet_from_toml
from host.pipeline.tank import overfilled, refill_not_told
from host.rig import Rig
from host.rig.noted import noted


@dataclass(frozen=True)
class TankBalance:
    """What went in and out. `measured_left_m3` is what somebody read off the tank at the end and noted.

    `meter_over_tank` is the metered volume over what left the tank by its marks, since it was last filled to a known
    level, with its standard uncertainty (from the marks, and what was not counted); both None when nothing was noted,
    or a refill was not told or cannot be.
    """

    start_m3: float
    refills_m3: tuple[float | None, ...]  # None: filled up, amount unknown
    metered_m3: float
    left_by_count_m3: float
    measured_left_m3: float | None
    meter_over_tank: float | None
    meter_over_tank_u: float | None
    uncounted_m3: float = 0.0  # probably went through the meter beside what it metered
    unread: tuple[str, ...] = ()  # why a note of it does not count
    start_beyond_m3: float = 0.0  # said to be in it at the start beyond what it holds; 0 where marks may be off by it
    overfilled_m3: float = 0.0  # of what was filled in, more than the tank had room for; 0 where marks may be off by it

    @property
    def refill_not_told(self) -> bool:
        """Whether more went through the meter than there was: what is left is not known then."""
        return refill_not_told(self.left_by_count_m3, self.metered_m3)


@dataclass(frozen=True)
class Product:
    """Product per area: m³/m² (liquid) or kg/m² (dry). `limit` is the label's; `over_limit` when it is exceeded.

    `name` is empty where only the strength of the mix was noted. `passes_over` are the numbers of the passes that got
    more than the limit by more than their ±, whatever the mean.
    """

    dry: bool
    per_area: float
    per_area_u: float
    total: float  # m³ or kg, what was sprayed standing still and what was probably not counted included
    limit: float | None
    name: str = ""
    limit_unread: str = ""  # why a limit that was noted does not count
    passes_over: tuple[int, ...] = ()

    @property
    def anywhere_over(self) -> bool:
        """Whether the run as a whole or one of its passes got more."""
        return self.over_limit or bool(self.passes_over)

    @property
    def over_limit(self) -> bool:
        """Whether the mean of the run is above the label's limit; the uncertainty is the sprayer's own risk."""
        return self.limit is not None and self.per_area > self.limit


@dataclass(frozen=True)
class TankCount:
    """What the meter says of the tank: metered, left by it, probably not counted, and what it had no room for (m³)."""

    metered_m3: float
    left_m3: float  # without `over_m3`
    uncounted_m3: float = 0.0
    over_m3: float = 0.0


def tank_balance(events: list[Event], notes: Mapping[str, str], rig: Rig, count: TankCount) -> TankBalance:
    """The balance of a run; a note that cannot be read, or cannot be, does not count and is told in `unread`."""
    metered_m3, left_m3, over_m3, full_m3 = count.metered_m3, count.left_m3, count.over_m3, rig.tank.volume_m3
    start, start_over_m3, refills = full_m3, 0.0, []
    # Full to its mark, or to a known level, the tank is known anew: what went before is balanced by nobody.
    since_m3, poured = start, 1
    for event in as_meant(events):
        if event.kind == "run_start":
            told = number_of(event, "tank_m3")
            start_over_m3 = 0.0 if told is None else max(told - full_m3, 0.0)
            start = since_m3 = full_m3 if told is None else min(told, full_m3)
        elif event.kind == "refill":
            added, level_m3 = number_of(event, "added_m3"), number_of(event, "to_m3")
            refills.append(added)
            if added is not None:
                since_m3, poured = since_m3 + added, poured + 1
            else:
                since_m3, poured = full_m3 if level_m3 is None else level_m3, 1
    (confirmed, measured), unread = _noted_volumes(notes, (NOTE_REFILL, NOTE_TANK_LEFT), rig)
    if confirmed is not None:
        refills.append(confirmed)
        since_m3, left_m3, poured = since_m3 + confirmed, left_m3 + confirmed, poured + 1
        if left_m3 > full_m3:
            left_m3, over_m3 = full_m3, over_m3 + left_m3 - full_m3
    told_over_m3 = over_m3 if overfilled(over_m3, full_m3) else 0.0
    ratio = ratio_u = None
    if measured is not None and not refill_not_told(left_m3, metered_m3) and not told_over_m3:
        drawn, counted = since_m3 - measured, since_m3 - left_m3 - over_m3
        if drawn > 0 and counted > 0:
            ratio = counted / drawn
            reading = math.sqrt(1.0 + poured) * resolution(TANK.step_m3)
            ratio_u = ratio * math.hypot(reading / drawn, TANK.scale_uncertainty())
            ratio_u += count.uncounted_m3 / drawn / 2.0  # known to lack on one side alone: as in host.review.totals
    return TankBalance(
        start_m3=start,
        refills_m3=tuple(refills),
        metered_m3=metered_m3,
        left_by_count_m3=left_m3,
        measured_left_m3=measured,
        meter_over_tank=ratio,
        meter_over_tank_u=ratio_u,
        uncounted_m3=count.uncounted_m3,
        unread=unread,
        start_beyond_m3=start_over_m3 if overfilled(start_over_m3, full_m3) else 0.0,
        overfilled_m3=told_over_m3,
    )


def _noted_volumes(
    notes: Mapping[str, str], keys: Sequence[str], rig: Rig
) -> tuple[list[float | None], tuple[str, ...]]:
    """The volumes noted under `keys`, and a sentence for each that does not count."""
    found: list[float | None] = []
    unread = []
    for key in keys:
        try:
            quantity = noted(notes, key, rig)
        except UserError as error:
            quantity = None
            unread.append(str(error))
        found.append(quantity[0] if quantity else None)
    return found, tuple(unread)


@dataclass(frozen=True)
class PutDown:
    """What a run put down of its mix: rate (m³/m², None without ground) with its standard uncertainty, volume (m³)."""

    rate_m3_m2: float | None
    rate_u_m3_m2: float | None
    volume_m3: float


def products_of(events: Sequence[Event], notes: Mapping[str, str], down: PutDown) -> tuple[Product, ...]:
    """The products of the run's mixing sheet, or the one of its notes; none without either or without a rate.

    Raises UserError for a sheet or a note that cannot be read, and for several sheets: how much of each was sprayed is
    not known.
    """
    sheets = dict.fromkeys(str(event.detail.get("toml", "")) for event in events if event.kind == "mix")
    if not sheets:
        noted = product_of(notes, down.rate_m3_m2, down.rate_u_m3_m2, down.volume_m3)
        return () if noted is None else (noted,)
    if len(sheets) > 1:
        raise BadInputError(f"this run has {len(sheets)} mixing sheets, and what was sprayed of each is not known")
    rate, rate_u = down.rate_m3_m2, down.rate_u_m3_m2 or 0.0
    if rate is None:
        return ()
    products = []
    for mixed in sheet_from_toml(next(iter(sheets)), "the run's mixing sheet").products:
        strength, dry = mixed.strength
        limit = None if mixed.most is None else mixed.most[0]
        products.append(Product(dry, strength * rate, strength * rate_u, strength * down.volume_m3, limit, mixed.name))
    return tuple(products)


def product_of(
    notes: Mapping[str, str], rate_m3_m2: float | None, rate_u_m3_m2: float | None, volume_m3: float
) -> Product | None:
    """Product from the note "mix" (product per volume of mix, "20 mL/L" or "5 g/L"); None without one or a rate.

    Raises UserError when "mix" is no such quantity. A "label limit" that is none, or is a volume where the mix is a
    weight, does not count and is told in `limit_unread`.
    """
    mix = noted(notes, NOTE_MIX, None)
    if mix is None or rate_m3_m2 is None:
        return None
    strength, dry = mix[0], mix[1] == "density"
    limit, unread = None, ""
    try:
        found = noted(notes, NOTE_LABEL_LIMIT, None)
        if found and (found[1] == "mass_per_area") != dry:
            raise BadInputError(
                f'the note "{NOTE_LABEL_LIMIT}" is "{notes[NOTE_LABEL_LIMIT]}", and the mix is "{notes[NOTE_MIX]}": '
                "give both as volumes of product, or both as weights."
            )
        limit = found[0] if found else None
    except UserError as error:
        unread = str(error)
    put = strength * rate_m3_m2, strength * (rate_u_m3_m2 or 0.0), strength * volume_m3
    return Product(dry, *put, limit, limit_unread=unread)
