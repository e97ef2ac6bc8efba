"""Mix: how much product and water go into the tank for an area, as a sheet that can be printed."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, html

from dashboards.context import PageContext
from dashboards.plan.plan_page import answered
from dashboards.ui.figures import figures, remarks
from dashboards.ui.forms import (
    Entries,
    WrongEntriesError,
    above_zero,
    attributes,
    cautions,
    entry_id,
    field,
    sentence,
    table,
    wrong_id,
)
from host.errors import UserError
from host.plan.area import parse_area
from host.plan.mix import CAUTIONS, Form, Label, Load, Mix, mix, product_for_active, read_product
from host.rig import Rig
from host.units import format_value, parse_quantity

FORM = "mix"
FIELDS = ("product", "area", "rate", "tank", "active", "most", "season", "used", "measured")
# Kinds to show a product in: an amount fine and coarse, and per area.
_KINDS: dict[Form, tuple[str, str, str]] = {
    "liquid": ("catch", "volume", "product_rate"),
    "dry": ("small_mass", "mass", "small_mass_per_area"),
}


def layout(context: PageContext) -> html.Main:
    """The page for the rig at hand."""
    try:
        used = context.rig()
    except UserError as error:
        return html.Main([html.H1("Mix"), html.P(sentence(str(error)), className="notice")], className="sheet")
    rig, system = used.rig, used.rig.units
    us = system == "us"
    target = format_value(rig.target.rate_m3_m2, "rate", system)
    per_area = "3.6 pt/acre" if us else "3 L/ha"
    return html.Main(
        [
            html.H1("Mix"),
            html.P(used.said, className="rig"),
            html.Div(
                [
                    html.Section(
                        [
                            cautions(CAUTIONS),
                            html.Div(
                                [
                                    field(FORM, "product", "Product per area", per_area),
                                    field(FORM, "area", "Area (empty: one tank)", "60 ft x 25 ft" if us else "900 m2"),
                                    field(FORM, "rate", "Rate", target),
                                    field(FORM, "tank", "Tank", format_value(rig.tank.volume_m3, "volume", system)),
                                    field(FORM, "most", "Label: most per application", per_area),
                                    field(FORM, "season", "Label: most per season", per_area),
                                    field(FORM, "used", "Used this season", per_area),
                                    field(FORM, "active", "Active ingredient, when that is given", "50 %"),
                                    field(FORM, "measured", "Measured rate of a run", target),
                                ],
                                className="fields part no-print",
                            ),
                            html.Div(html.Button("Work it out", id="mix-go", className="main"), className="acts"),
                        ],
                    ),
                    html.Section(
                        [
                            html.Div(id="mix-sheet", className="result part", **attributes({"aria-live": "polite"})),
                            html.Div(html.Button("Print", id="mix-print", className="prints"), className="acts"),
                        ]
                    ),
                ],
                className="halves",
            ),
        ],
        className="sheet",
    )


def connect(app: Dash, context: PageContext) -> None:
    """The page's callbacks."""

    @app.callback(
        Output("mix-sheet", "children"),
        *(Output(wrong_id(FORM, name), "children") for name in FIELDS),
        Input("mix-go", "n_clicks"),
        *(Input(entry_id(FORM, name), "value") for name in FIELDS),
    )
    def sheet(clicks: int | None, *typed: str | None) -> tuple[Any, ...]:
        entries = dict(zip(FIELDS, typed, strict=True))
        if not clicks and not any(entries.values()):
            return (html.P("Give the product per area from its label."), *[""] * len(FIELDS))
        return answered(FIELDS, lambda: mixing_sheet(context.rig().rig, entries))


def mixing_sheet(rig: Rig, typed: dict[str, str | None]) -> list[Any]:
    """The sheet. Raises WrongEntriesError, and UserError for what belongs to no field."""
    entries = Entries(typed)
    product = entries.need(
        "product", _some_product("The product per area"), "Give the product per area from its label."
    )
    area = entries.read("area", lambda text: parse_area(text, "The area"))
    rate = entries.read("rate", above_zero("rate", "The rate"))
    tank = entries.read("tank", above_zero("volume", "The tank"))
    active = entries.read("active", _share)
    limits = {
        name: entries.read(name, lambda text, what=what: _same_form(text, what, product))  # type: ignore[misc]
        for name, what in (
            ("most", "The most per application"),
            ("season", "The most per season"),
            ("used", "What was used this season"),
        )
    }
    measured = entries.read("measured", above_zero("rate", "The measured rate"))
    entries.check()
    assert product is not None
    form, amount = product
    try:
        result = mix(
            form,
            amount if active is None else product_for_active(amount, active),
            rate or rig.target.rate_m3_m2,
            tank or rig.tank.volume_m3,
            area,
            label=Label(limits["most"], limits["season"]),
            used_this_season=limits["used"] or 0.0,
        )
    except UserError as error:
        raise WrongEntriesError({"product": sentence(str(error))}) from None
    return _sheet(result, measured, rig)


def _some_product(what: str) -> Any:
    def read(text: str) -> tuple[Form, float]:
        form, amount = read_product(text, what)
        if not amount > 0:
            raise UserError(f'{what} is "{text}": give one above zero.')
        return form, amount

    return read


def _share(text: str) -> float:
    share = parse_quantity(text, "fraction", "The active ingredient")
    if not 0 < share <= 1:
        raise UserError(f'The active ingredient is "{text}": give its share of the product, above 0 and up to 100 %.')
    return share


def _same_form(text: str, what: str, product: tuple[Form, float] | None) -> float:
    form, amount = read_product(text, what)
    if amount < 0:
        raise UserError(f'{what} is "{text}": it cannot be below zero.')
    if product is not None and product[0] != form:
        raise UserError(f'{what} is "{text}", and the product is {product[0]}: give both as volume or both as weight.')
    return amount


def _sheet(result: Mix, measured: float | None, rig: Rig) -> list[Any]:
    system = rig.units
    fine, coarse, per_area = _KINDS[result.form]

    def show(value: float, kind: str) -> str:
        return format_value(value, kind, system)

    def both(product: float) -> str:
        return f"{show(product, fine)} ({show(product, coarse)})"

    rows = [
        ("Product per area", show(result.product_per_area, per_area)),
        ("Rate", f"{show(result.rate_m3_m2, 'rate')} ({show(result.rate_m3_m2, 'field_rate')})"),
        ("Area", f"{show(result.area_m2, 'area')} ({show(result.area_m2, 'field_area')})"),
        ("Product in all", both(result.product)),
        ("Water in all", show(result.water_m3, "volume")),
        ("Fillings", str(result.tanks)),
    ]

    def load(name: str, one: Load) -> list[str]:
        return [name, show(one.product, fine), show(one.volume_m3, "volume"), show(one.area_m2, "area")]

    loads = []
    if result.full is not None:
        loads.append(load(f"{result.full_tanks} full", result.full))
    if result.part is not None:
        loads.append(load("Last part", result.part))
    down = []
    if measured is not None:
        amount = result.product_at(measured)
        off = 100 * (amount / result.product_per_area - 1)
        down.append(
            f"A run at {show(measured, 'rate')} put down {show(amount, per_area)}, {off:+.0f} % of what was wanted."
        )
    return [
        html.H2(f"Mix for {rig.name}"),
        remarks(result.warnings, warn=True),
        figures(rows, frozenset({"Product in all"})),
        table(["Filling", "Product", "Water up to", "Covers"], loads),
        remarks(down),
        html.P("The label is the law.", className="headline part"),
    ]
