"""`swardflow mix`: product and water for a tank or an area."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from host.plan.mix import Form, Mix


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "mix",
        help="how much product and water go into the tank for an area",
        description="Product per area is the point; water is only its carrier. The label of the product is the law.",
    )
    parser.add_argument("--rig", type=Path, required=True, help="rig file (*.toml): its tank and its target rate")
    parser.add_argument(
        "--product", required=True, help='per area, from the label: "3.6 pt/acre", "2 fl oz/1000 ft2", "1.5 kg/ha"'
    )
    parser.add_argument("--active", help='share of active ingredient, such as "50 %%", when --product is of that')
    parser.add_argument("--area", help='such as "12000 ft2", "60 ft x 25 ft", "circle 80 ft" (default: one full tank)')
    parser.add_argument("--rate", help="volume per area (default: the target rate of the rig)")
    parser.add_argument("--tank", help="volume of a filling (default: the whole tank of the rig)")
    parser.add_argument("--most", help="the most that the label allows per application, per area")
    parser.add_argument("--season", help="the most that the label allows per season, per area")
    parser.add_argument("--used", help="what was used this season before, per area")
    parser.add_argument("--measured-rate", help="rate of a run, to see how much product per area it put down")
    parser.add_argument("--units", choices=("us", "metric"), help="units to show (default: the rig's)")
    parser.add_argument("--json", action="store_true", help="print JSON, with units in the keys")


def run(args: argparse.Namespace) -> int:
    """Print the mixing sheet; 1 when a limit of the label is passed."""
    from host.plan.area import parse_area
    from host.plan.mix import Label, mix, product_for_active, read_product
    from host.rig import load_rig
    from host.units import parse_quantity

    rig = load_rig(args.rig)
    form, product = read_product(args.product, "--product")
    limits = [
        None if text is None else _same_form(text, form, where)
        for text, where in ((args.most, "--most"), (args.season, "--season"), (args.used, "--used"))
    ]
    if args.active is not None:
        product = product_for_active(product, parse_quantity(args.active, "fraction", "--active"))
    result = mix(
        form,
        product,
        parse_quantity(args.rate, "rate", "--rate") if args.rate else rig.target.rate_m3_m2,
        parse_quantity(args.tank, "volume", "--tank") if args.tank else rig.tank.volume_m3,
        parse_area(args.area, "--area") if args.area else None,
        label=Label(limits[0], limits[1]),
        used_this_season=limits[2] or 0.0,
    )
    measured = parse_quantity(args.measured_rate, "rate", "--measured-rate") if args.measured_rate else None
    system = args.units or rig.units
    if args.json:
        print(json.dumps(_json(result, measured, system), indent=2, allow_nan=False))
    else:
        print("\n".join(_sheet(result, measured, system, rig.name)))
    return 1 if result.warnings else 0


def _same_form(text: str, form: Form, where: str) -> float:
    from host.errors import UserError
    from host.plan.mix import read_product

    other, amount = read_product(text, where)
    if other != form:
        raise UserError(f'{where} is "{text}", and --product is {form}: give both as a volume or both as a weight.')
    return amount


# A bare "oz" is read as a weight: whoever meant fluid ounces should see it before anything is poured.
_FORMS = {"liquid": "liquid, by volume", "dry": 'dry, by weight (a liquid is given in "fl oz", "pt", "mL" …)'}


def _kinds(form: Form) -> dict[str, str]:
    """Kinds to show a product in: an amount, the same finer, per area, per area finer."""
    if form == "liquid":
        return {"amount": "volume", "fine": "catch", "per_area": "product_rate"}
    return {"amount": "mass", "fine": "small_mass", "per_area": "small_mass_per_area"}


def _json(result: Mix, measured: float | None, system: str) -> dict[str, Any]:
    from host.units import column_name, to_user

    kinds = _kinds(result.form)

    def shown(name: str, kind: str, value: float) -> dict[str, float]:
        return {column_name(name, kind, system): to_user(value, kind, system)}

    def load(one: Any) -> dict[str, float] | None:
        return one and {
            **shown("volume", "volume", one.volume_m3),
            **shown("area", "area", one.area_m2),
            **shown("product", kinds["fine"], one.product),
            **shown("water", "volume", one.water_m3),
        }

    answer: dict[str, Any] = {
        "form": result.form,
        **shown("product_per_area", kinds["per_area"], result.product_per_area),
        **shown("rate", "rate", result.rate_m3_m2),
        **shown("area", "area", result.area_m2),
        **shown("product", kinds["fine"], result.product),
        **shown("mix", "volume", result.volume_m3),
        **shown("water", "volume", result.water_m3),
        "tanks": result.tanks,
        "full_tanks": result.full_tanks,
        "full_tank": load(result.full),
        "last_part_tank": load(result.part),
        "warnings": list(result.warnings),
    }
    if measured is not None:
        answer |= shown("product_put_down", kinds["per_area"], result.product_at(measured))
    return answer


def _sheet(result: Mix, measured: float | None, system: str, rig_name: str) -> list[str]:
    from host.plan.mix import CAUTIONS
    from host.units import format_value

    kinds = _kinds(result.form)

    def show(value: float, kind: str) -> str:
        return format_value(value, kind, system)

    def both(product: float) -> str:
        return f"{show(product, kinds['fine'])} ({show(product, kinds['amount'])})"

    lines = [f"MIX for {rig_name}", *(f"! {warning}" for warning in result.warnings)]
    lines += [
        f"product     {show(result.product_per_area, kinds['per_area'])}, {_FORMS[result.form]}",
        f"rate        {show(result.rate_m3_m2, 'rate')} ({show(result.rate_m3_m2, 'field_rate')})",
        f"area        {show(result.area_m2, 'area')} ({show(result.area_m2, 'field_area')})",
        f"in all      {both(result.product)} of product, {show(result.water_m3, 'volume')} of water, "
        f"{show(result.volume_m3, 'volume')} of mix",
        f"fillings    {result.tanks}",
    ]
    for name, load in ((f"{result.full_tanks} full", result.full), ("last part", result.part)):
        if load is not None:
            lines.append(
                f"  {name:<10}{both(load.product)} of product, water up to {show(load.volume_m3, 'volume')}, "
                f"covers {show(load.area_m2, 'area')}"
            )
    if measured is not None:
        down = result.product_at(measured)
        lines.append(
            f"A run at {show(measured, 'rate')} put down {show(down, kinds['per_area'])}, "
            f"{100 * (down / result.product_per_area - 1):+.0f} % of what was wanted."
        )
    return [*lines, "", *(f"- {caution}" for caution in CAUTIONS)]
