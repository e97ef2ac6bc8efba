"""What went through the tank, and the product that reached the ground, as parts of documents."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from host.documents.document import Block, Column, Fact, Facts, Message, Messages, Quantity, Table, Value, quantity
from host.documents.words import listed, sentence
from host.events import NOTE_LABEL_LIMIT, NOTE_MIX, NOTE_TANK_LEFT
from host.review.balance import Product, TankBalance
from host.review.review import EXPANDED
from host.units import format_volume, significant_decimals

_SEEN = 1e-3  # of what was metered
# Somewhere; in the mean of the run; the numbers of single passes.
_OVER_LIMIT = ("over_label_limit", "mean_over_label_limit", "passes_over_label_limit")


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
    said = [Message(sentence(why), "warning") for why in balance.unread]
    if balance.start_beyond_m3 > 0:
        told, holds = (show(one).text for one in (balance.start_m3 + balance.start_beyond_m3, balance.start_m3))
        text = f"The run file says that {told} were in the tank at the start, and it holds {holds}: it counts as full."
        said.append(Message(text, "warning"))
    if balance.overfilled_m3 > 0:
        over = show(balance.overfilled_m3).text
        full = "The tank had no room for it: it counts as full then. Was the refill smaller?"
        said.append(Message(f"{over} of what was filled in is too much. {full}", "warning"))
    if untold:
        more = show(-balance.left_by_count_m3).text
        asked = "Refill not recorded? Or did it count air?"
        said.append(Message(f"{more} more went through the meter than the tank held. {asked}", "warning"))
    elif balance.uncounted_m3 > _SEEN * balance.metered_m3:
        about = format_volume(balance.uncounted_m3, system)
        said.append(Message(f"About {about} more went out uncounted: so much less is left.", "warning"))
    if balance.measured_left_m3 is None and not balance.unread and balance.metered_m3 > 0:
        said.append(Message(f'Note what was left ("{NOTE_TANK_LEFT}") to check the meter against the tank.', "advice"))
    refills = tuple((show(added),) for added in balance.refills_m3)
    return Facts(tuple(facts)), Table("refills", (Column("added", ""),), refills), Messages(tuple(said))


def products_blocks(products: Sequence[Product], system: str, *, mixed: bool = False) -> tuple[Block, ...]:
    """Products per area against the label's limits; what to do without; `mixed`: whether the mix is known."""
    if not products and mixed:
        return (Messages((Message("Without a rate it is not known how much product went down.", "warning"),)),)
    if not products:
        missing = (
            f'Start a run with its mixing sheet, or note the mix ("{NOTE_MIX}") and the label\'s limit '
            f'("{NOTE_LABEL_LIMIT}"), to see product per area.'
        )
        return (Messages((Message(missing, "advice"),)),)
    if len(products) == 1 and not products[0].name:
        return product_blocks(products[0], system)
    columns = (
        Column("name", "Product"),
        Column("per_area", "Per area (± is 95 %)"),
        Column("total", "In all"),
        Column("label_limit", "The label allows"),
        *(Column(key, "") for key in _OVER_LIMIT),
    )
    rows = tuple(_product_row(product, system) for product in products)
    over = frozenset(row for row, product in enumerate(products) if product.anywhere_over)
    messages = tuple(Message(f"{products[row].name}: {_limit_words(products[row])}", "warning") for row in sorted(over))
    return Table("products", columns, rows, marked=over), Messages(messages)


def _product_row(product: Product, system: str) -> tuple[Value, ...]:
    show = _showing(product, system)
    return (
        product.name,
        show(product.per_area, expanded_si=EXPANDED * product.per_area_u),
        product_total(product, system),
        show(product.limit) if product.limit is not None else None,
        *_over_limit(product),
    )


def product_total(product: Product, system: str) -> Quantity:
    """How much of it was sprayed, by volume or by mass, with three significant digits."""
    kind = "small_mass" if product.dry else "catch"
    return quantity(product.total, kind, system, decimals=significant_decimals(product.total, kind, system))


def _showing(product: Product, system: str) -> Callable[..., Quantity]:
    """Quantities per area with three significant digits of what was put down."""
    kind = product_kind(product.dry)
    decimals = significant_decimals(product.per_area, kind, system)
    return partial(quantity, kind=kind, system=system, decimals=decimals)


def _over_limit(product: Product) -> tuple[Value, ...]:
    """For machines, under the keys of `_OVER_LIMIT`."""
    return product.anywhere_over, product.over_limit, product.passes_over


def _limit_words(product: Product) -> str:
    if not product.over_limit:
        passes = "pass " if len(product.passes_over) == 1 else "passes "
        passes += listed([str(number) for number in product.passes_over])
        return f"{passes} got more than the label allows; the run's mean is within the limit."
    sure = product.limit is not None and product.per_area - product.limit > EXPANDED * product.per_area_u
    return "over the label's limit" + ("." if sure else ", by less than the uncertainty.")


def product_blocks(product: Product, system: str) -> tuple[Block, ...]:
    """Product per area of a mix that was only noted, against the label's limit."""
    show = _showing(product, system)
    facts = Facts(
        (
            Fact("per_area", "Per area (± is 95 %)", show(product.per_area, expanded_si=EXPANDED * product.per_area_u)),
            _unless_none("label_limit", "The label allows", show(product.limit)),
            *(Fact(key, "", value) for key, value in zip(_OVER_LIMIT, _over_limit(product), strict=True)),
        )
    )
    if product.limit_unread:
        said = Message(sentence(product.limit_unread), "warning")
    elif product.limit is None:
        said = Message(f'Note the label\'s limit ("{NOTE_LABEL_LIMIT}") to compare with it.', "advice")
    elif product.anywhere_over:
        said = Message(_limit_words(product).capitalize(), "warning")
    else:
        return (facts,)
    return facts, Messages((said,))


def _unless_none(key: str, label: str, value: Quantity) -> Fact:
    """A fact that is for people only where it is known."""
    return Fact(key, label if value.value is not None else "", value)


def product_kind(dry: bool) -> str:
    """The kind of host.units in which product per area is shown."""
    return "small_mass_per_area" if dry else "product_rate"
