"""What went through the tank, and the product that reached the ground, as parts of documents."""

from __future__ import annotations

from functools import partial

from host.documents.document import Block, Column, Fact, Facts, Message, Messages, Quantity, Table, quantity
from host.events import NOTE_LABEL_LIMIT, NOTE_MIX, NOTE_TANK_LEFT
from host.review.balance import Product, TankBalance
from host.review.review import EXPANDED


def tank_blocks(balance: TankBalance, system: str) -> tuple[Block, ...]:
    """The tank's balance, and the meter against its marks where a reading was noted."""
    show = partial(quantity, kind="volume", system=system)
    untold = balance.refill_not_told
    left = None if untold else max(balance.left_by_count_m3, 0.0)
    facts = [
        Fact("start", "At the start", show(balance.start_m3)),
        *(Fact("", "Refilled", "to the top" if added is None else show(added)) for added in balance.refills_m3),
        Fact("metered", "Through the meter", show(balance.metered_m3)),
        Fact("left_by_count", "Left by count", show(left)),
        _unless_none("left_measured", "Left, as noted", show(balance.measured_left_m3)),
        Fact("refill_not_recorded", "", untold),
    ]
    ratio, u = balance.meter_over_tank, balance.meter_over_tank_u
    if ratio is not None and u is not None:
        shown = Quantity(f"{ratio:.3f} ± {EXPANDED * u:.3f}", ratio, expanded=EXPANDED * u)
        facts.append(Fact("meter_over_tank", "Meter against tank (± is 95 %)", shown))
    said = []
    if untold:
        more = show(-balance.left_by_count_m3).text
        said.append(Message(f"{more} more went through the meter than the tank held. Refill not recorded?", "warning"))
    if balance.measured_left_m3 is None:
        said.append(Message(f'Note what was left ("{NOTE_TANK_LEFT}") to check the meter against the tank.', "advice"))
    refills = tuple((show(added),) for added in balance.refills_m3)
    return Facts(tuple(facts)), Table("refills", (Column("added", ""),), refills), Messages(tuple(said))


def product_blocks(product: Product | None, system: str) -> tuple[Block, ...]:
    """Product per area against the label's limit; what to note where it is not known."""
    if product is None:
        missing = f'Note the mix ("{NOTE_MIX}") and the label\'s limit ("{NOTE_LABEL_LIMIT}") to see product per area.'
        return (Messages((Message(missing, "advice"),)),)
    show = partial(quantity, kind=product_kind(product.dry), system=system)
    facts = Facts(
        (
            Fact("per_area", "Per area (± is 95 %)", show(product.per_area, expanded_si=EXPANDED * product.per_area_u)),
            _unless_none("label_limit", "The label allows", show(product.limit)),
            Fact("over_label_limit", "", product.over_limit),
        )
    )
    if product.limit is None:
        said = Message(f'Note the label\'s limit ("{NOTE_LABEL_LIMIT}") to compare with it.', "advice")
    elif product.over_limit:
        sure = product.per_area - product.limit > EXPANDED * product.per_area_u
        said = Message("Over the label's limit" + ("." if sure else ", by less than the uncertainty."), "warning")
    else:
        return (facts,)
    return facts, Messages((said,))


def _unless_none(key: str, label: str, value: Quantity) -> Fact:
    """A fact that is for people only where it is known."""
    return Fact(key, label if value.value is not None else "", value)


def product_kind(dry: bool) -> str:
    """The kind of host.units in which product per area is shown."""
    return "small_mass_per_area" if dry else "product_rate"
