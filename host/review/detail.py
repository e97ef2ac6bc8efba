"""Evenness, stretches off target, standing spots, tank and product as lines of text and as JSON."""

from __future__ import annotations

import math
from typing import Any

from host.pipeline.tank import NOT_TOLD
from host.review.balance import Product, TankBalance
from host.review.evenness import BIN_M, Stretch, Strip
from host.review.faults import EXPANDED
from host.review.review import Review
from host.review.stationary_spots import Spot
from host.units import UNITS, column_name, format_value, to_user

_MOST_LINES = 12


def evenness_words(strip: Strip) -> str:
    """The coefficient of variation of a strip, or that there is none."""
    return "–" if math.isnan(strip.variation) else f"{strip.variation:.1%}"


def stretch_words(one: Stretch, target_m3_m2: float, system: str) -> str:
    """A sentence to find the stretch again by."""
    unit = UNITS[system]["length"]
    begin, end = one.from_m * unit.per_si, one.to_m * unit.per_si
    off = one.rate_m3_m2 / target_m3_m2 - 1.0
    return (
        f"pass {one.number}, {begin:.0f} to {end:.0f} {unit.symbol} from its start: "
        f"{format_value(one.rate_m3_m2, 'rate', system)}, {abs(off):.0%} {'over' if off > 0 else 'under'} the target"
    )


def spot_words(one: Spot, at: str, system: str) -> str:
    """A sentence to find the spot again by."""
    place = "outside the passes"
    if one.number is not None and one.into_pass_m is not None:
        place = f"pass {one.number}, {format_value(one.into_pass_m, 'length', system)} from its start"
    volume = format_value(one.volume_m3, "catch", system)
    return f"{at}, {place}: {volume} on one spot in {one.duration_s:.1f} s"


def balance_words(one: TankBalance, system: str) -> str:
    """The tank's balance in a sentence."""

    def show(value: float) -> str:
        return format_value(value, "volume", system)

    words = f"{show(one.start_m3)} at the start"
    for added in one.refills_m3:
        words += ", filled up" if added is None else f", {show(added)} added"
    words += f", {show(one.metered_m3)} through the meter, "
    if one.refill_not_told:
        words += f"{show(-one.left_by_count_m3)} more than there was: {NOT_TOLD}"
    else:
        words += f"{show(max(one.left_by_count_m3, 0.0))} left by count"
    if one.measured_left_m3 is not None:
        words += f", {show(one.measured_left_m3)} left by the tank's marks"
    if one.meter_over_tank is not None and one.meter_over_tank_u is not None:
        words += f": meter over tank {one.meter_over_tank:.3f} ± {EXPANDED * one.meter_over_tank_u:.3f}"
    return words


def product_words(one: Product, system: str) -> str:
    """Product per area against the label, in a sentence."""
    kind = product_kind(one)
    words = f"{format_value(one.per_area, kind, system)} ± {format_value(EXPANDED * one.per_area_u, kind, system)}"
    if one.limit is None:
        return words + "; no label limit was noted"
    limit = format_value(one.limit, kind, system)
    if not one.over_limit:
        return words + f"; the label allows {limit}"
    sure = one.limit is not None and one.per_area - one.limit > EXPANDED * one.per_area_u
    return words + f"; OVER the label's limit of {limit}" + ("" if sure else ", by less than the uncertainty")


def product_kind(one: Product) -> str:
    """The kind of host.units in which product per area is shown."""
    return "small_mass_per_area" if one.dry else "product_rate"


def detail_lines(review: Review, system: str) -> list[str]:
    """What the table of passes does not say, one fact a line."""
    strips = review.strips
    lines = []
    length = format_value(BIN_M, "length", system)
    if strips:
        lines.append(f"Evenness, coefficient of variation of the rate in bins of {length} along each pass:")
        lines.append("  " + ", ".join(f"pass {strip.number} {evenness_words(strip)}" for strip in strips))
    stretches = review.stretches(strips)
    if stretches:
        lines.append("Off target along the distance:")
        target = review.rig.target.rate_m3_m2
        lines += [f"  {stretch_words(one, target, system)}" for one in stretches[:_MOST_LINES]]
        if len(stretches) > _MOST_LINES:
            lines.append(f"  and {len(stretches) - _MOST_LINES} more: see --json")
    spots = review.spots
    if spots:
        lines.append("Sprayed while standing:")
        lines += [f"  {spot_words(one, review.at(one.start_s), system)}" for one in spots[:_MOST_LINES]]
        if len(spots) > _MOST_LINES:
            lines.append(f"  and {len(spots) - _MOST_LINES} more: see --json")
    lines.append(f"Tank: {balance_words(review.balance, system)}")
    product = review.product
    if product is not None:
        lines.append(f"Product: {product_words(product, system)}")
    return lines


def detail_json(review: Review, system: str) -> dict[str, Any]:
    """The same for machines; keys carry units, missing values are None."""

    def put(name: str, kind: str, value: float | None) -> dict[str, float | None]:
        shown = None if value is None or not math.isfinite(value) else float(to_user(value, kind, system))
        return {column_name(name, kind, system): shown}

    strips = review.strips
    by_number = {one.number: one for one in review.passes}
    balance, product = review.balance, review.product
    out: dict[str, Any] = {
        **put("bin", "length", BIN_M),
        "strips": [
            {
                "pass": strip.number,
                "variation_percent": None if math.isnan(strip.variation) else 100 * strip.variation,
                **put("volume_standard_uncertainty", "volume", review.pass_volume_u_m3(by_number[strip.number])),
                **put("rate_standard_uncertainty", "rate", review.pass_rate_u_m3_m2(by_number[strip.number])),
                "bins": [
                    {
                        **put("from", "length", float(a)),
                        **put("to", "length", float(b)),
                        **put("rate", "rate", float(r)),
                    }
                    for a, b, r in zip(strip.edges_m[:-1], strip.edges_m[1:], strip.rate_m3_m2, strict=True)
                ],
            }
            for strip in strips
        ],
        "off_target": [
            {
                "pass": one.number,
                **put("from", "length", one.from_m),
                **put("to", "length", one.to_m),
                **put("rate", "rate", one.rate_m3_m2),
                **put("excess", "volume", one.excess_m3),
            }
            for one in review.stretches(strips)
        ],
        "standing": [
            {
                "start_s": one.start_s,
                "duration_s": one.duration_s,
                **put("volume", "volume", one.volume_m3),
                "pass": one.number,
                **put("from_start", "length", one.into_pass_m),
            }
            for one in review.spots
        ],
        "tank": {
            **put("start", "volume", balance.start_m3),
            "refills": [put("added", "volume", added) for added in balance.refills_m3],
            **put("metered", "volume", balance.metered_m3),
            **put("left_by_count", "volume", balance.left_by_count_m3),
            "refill_not_told": balance.refill_not_told,
            **put("left_measured", "volume", balance.measured_left_m3),
            "meter_over_tank": balance.meter_over_tank,
            "meter_over_tank_standard_uncertainty": balance.meter_over_tank_u,
        },
        "product": None,
    }
    if product is not None:
        kind = product_kind(product)
        out["product"] = {
            **put("per_area", kind, product.per_area),
            **put("per_area_standard_uncertainty", kind, product.per_area_u),
            **put("label_limit", kind, product.limit),
            "over_limit": product.over_limit,
        }
    return out
