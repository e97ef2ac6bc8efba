"""Plan: rate, speed, pressure and nozzle flow; the rate over speed and pressure; the pump and the agitation."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dash import Dash, Input, Output, dcc, html

from dashboards.context import PageContext, RigInUse
from dashboards.plan.rate_plot import SPEEDS, pressures_of, rate_figure
from dashboards.ui.figures import figures, remarks
from dashboards.ui.forms import (
    Entries,
    WrongEntriesError,
    above_zero,
    attributes,
    chips,
    entry_id,
    field,
    sentence,
    table,
    wrong_id,
)
from host.errors import UserError
from host.plan.pump import AGITATION, MARGIN, PumpVerdict, judge_pump
from host.plan.rate import Setting, rate_table, solve
from host.rig import Rig
from host.units import UNITS, format_value, parse_quantity, to_user

RATE, PUMP = "plan-rate", "plan-pump"
RATE_FIELDS = ("rate", "speed", "pressure", "nozzle_flow", "gravity")
PUMP_FIELDS = ("highest", "margin")
_KINDS = {"rate": "rate", "speed": "speed", "pressure": "pressure", "nozzle_flow": "flow"}
_NAMES = {"rate": "The rate", "speed": "The speed", "pressure": "The pressure", "nozzle_flow": "The nozzle flow"}


def layout(context: PageContext) -> html.Main:
    """The page for the rig at hand."""
    try:
        used = context.rig()
    except UserError as error:
        return html.Main([html.H1("Plan"), html.P(sentence(str(error)), className="notice")], className="sheet")
    return html.Main(
        [
            html.H1("Plan"),
            html.P(used.said, className="rig"),
            html.Div([_rate_part(used), _pump_part(used.rig)], className="halves"),
        ],
        className="sheet",
    )


def _rate_part(used: RigInUse) -> html.Section:
    rig, system = used.rig, used.rig.units
    example = {"us": ("1 gal/1000 ft2", "2.5 mph", "0.35 gpm"), "metric": ("4 L/100 m2", "4 km/h", "1.3 L/min")}[system]
    target = format_value(rig.target.rate_m3_m2, "rate", system)
    reference = format_value(rig.nozzles.reference_pressure_pa, "pressure", system)
    return html.Section(
        [
            html.H2("Rate, speed, pressure"),
            html.P(f"Give two of rate, speed and pressure; the third is found. Rate left empty: the target, {target}."),
            html.Div(
                [
                    field(RATE, "rate", "Rate", example[0]),
                    field(RATE, "speed", "Speed", example[1]),
                    field(RATE, "pressure", "Pressure", reference, reference),
                    field(RATE, "nozzle_flow", "Or flow of one nozzle", example[2]),
                    field(RATE, "gravity", "Specific gravity (water 1)", "1", "1"),
                ],
                className="fields part",
            ),
            html.Div(html.Button("Work it out", id="plan-go", className="main"), className="acts"),
            html.Div(id="plan-setting", className="result part", **attributes({"aria-live": "polite"})),
        ],
        className="part",
    )


def _pump_part(rig: Rig) -> html.Section:
    highest = rig.nozzles.max_pressure_pa
    hint = format_value(highest, "pressure", rig.units) if highest else "40 psi"
    return html.Section(
        [
            html.H2("Pump and agitation"),
            chips(
                "plan-mix", "What is in the tank", {"suspension": "Suspension", "solution": "Solution"}, "suspension"
            ),
            html.Div(
                [
                    field(PUMP, "highest", "Highest spraying pressure", hint),
                    field(PUMP, "margin", "To spare", "20 %", f"{100 * MARGIN:.0f} %"),
                ],
                className="fields part",
            ),
            html.Div(id="plan-verdict", className="result part", **attributes({"aria-live": "polite"})),
        ],
        className="part",
    )


def connect(app: Dash, context: PageContext) -> None:
    """The page's callbacks."""

    @app.callback(
        Output("plan-setting", "children"),
        *(Output(wrong_id(RATE, name), "children") for name in RATE_FIELDS),
        Input("plan-go", "n_clicks"),
        *(Input(entry_id(RATE, name), "value") for name in RATE_FIELDS),
    )
    def setting(_: int | None, *typed: str | None) -> tuple[Any, ...]:
        entries = dict(zip(RATE_FIELDS, typed, strict=True))
        return answered(RATE_FIELDS, lambda: plan_rate(context.rig().rig, entries))

    @app.callback(
        Output("plan-verdict", "children"),
        *(Output(wrong_id(PUMP, name), "children") for name in PUMP_FIELDS),
        Input("plan-mix", "value"),
        Input(entry_id(RATE, "gravity"), "value"),
        *(Input(entry_id(PUMP, name), "value") for name in PUMP_FIELDS),
    )
    def verdict(mix: str, gravity: str | None, *typed: str | None) -> tuple[Any, ...]:
        entries = dict(zip(PUMP_FIELDS, typed, strict=True)) | {"gravity": gravity}
        return answered(PUMP_FIELDS, lambda: plan_pump(context.rig().rig, mix, entries))


def answered(names: tuple[str, ...], work: Callable[[], list[Any]]) -> tuple[Any, ...]:
    """What `work` gives, and a sentence for each field; a mistake that belongs to no field stands in the result."""
    try:
        return (work(), *[""] * len(names))
    except WrongEntriesError as wrong:
        return ("", *(wrong.sentences.get(name, "") for name in names))
    except UserError as error:
        return (html.P(sentence(str(error)), className="notice", role="alert"), *[""] * len(names))


def read_gravity(text: str) -> float:
    """A specific gravity. Raises UserError."""
    value = parse_quantity(text, "fraction", "The specific gravity") if "%" not in text else 0.0
    if not 0.5 <= value <= 2.0:
        raise UserError(f'The specific gravity is "{text}": water is 1, give a number from 0.5 to 2.')
    return value


def plan_rate(rig: Rig, typed: dict[str, str | None]) -> list[Any]:
    """The setting that was asked for, and the rate around it. Raises WrongEntriesError."""
    entries = Entries(typed)
    given = {name: entries.read(name, above_zero(kind, _NAMES[name])) for name, kind in _KINDS.items()}
    gravity = entries.read("gravity", read_gravity) or 1.0
    entries.check()
    filled = [name for name, value in given.items() if value is not None]
    if len(filled) == 1 and filled != ["rate"]:
        given["rate"] = rig.target.rate_m3_m2
    if not filled:
        return [html.P("Give a speed, a pressure or the flow of one nozzle.")]
    try:
        setting = solve(
            rig,
            rate_m3_m2=given["rate"],
            speed_m_s=given["speed"],
            pressure_pa=given["pressure"],
            nozzle_flow_m3_s=given["nozzle_flow"],
            specific_gravity=gravity,
        )
    except UserError as error:
        raise WrongEntriesError({filled[-1]: sentence(str(error))}) from None
    return [*_setting(setting, rig.units, given), *_around(rig, setting.speed_m_s, setting, gravity)]


def _setting(setting: Setting, system: str, given: dict[str, float | None]) -> list[Any]:
    rate = setting.rate_m3_m2
    rows = {
        "rate": ("Rate", f"{format_value(rate, 'rate', system)} ({format_value(rate, 'field_rate', system)})"),
        "speed": ("Speed", format_value(setting.speed_m_s, "speed", system)),
        "pressure": ("Pressure", format_value(setting.pressure_pa, "pressure", system)),
        "nozzle_flow": ("Flow of one nozzle", format_value(setting.nozzle_flow_m3_s, "flow", system)),
    }
    found = frozenset(row[0] for name, row in rows.items() if given[name] is None)
    return [figures(rows.values(), found), remarks(setting.warnings, warn=True)]


def _around(rig: Rig, speed_m_s: float, setting: Setting, gravity: float) -> list[Any]:
    system = rig.units
    speeds, pressures = [speed_m_s * factor for factor in SPEEDS], pressures_of(rig)
    rates = rate_table(rig, speeds, pressures, gravity)
    unit = {kind: UNITS[system][kind] for kind in ("rate", "speed", "pressure")}

    def shown(value: float, kind: str) -> str:
        return f"{to_user(value, kind, system):.{unit[kind].decimals}f}"

    def cell(rate: float) -> str:
        held = rig.target.low_m3_m2 <= rate <= rig.target.high_m3_m2
        return shown(rate, "rate") + (" ✓" if held else "")

    rows = [
        [shown(pressure, "pressure"), *(cell(float(rate)) for rate in rates[row])]
        for row, pressure in enumerate(pressures)
    ]
    band = f"within {100 * rig.target.band:.0f} % of the target"
    return [
        html.H2("Rate over speed and pressure", className="part"),
        html.P(f"In {unit['rate'].symbol}; ✓ {band}. Down: {unit['pressure'].symbol}, across: {unit['speed'].symbol}."),
        table([unit["pressure"].symbol, *(shown(speed, "speed") for speed in speeds)], rows),
        dcc.Graph(
            figure=rate_figure(rig, speeds, pressures, gravity, setting),
            config={"displayModeBar": False, "staticPlot": True},
            className="plot",
            responsive=True,
        ),
    ]


def plan_pump(rig: Rig, mix: str, typed: dict[str, str | None]) -> list[Any]:
    """The verdict on the pump. Raises WrongEntriesError, and UserError for what belongs to no field."""
    entries = Entries(typed)
    read = above_zero("pressure", "The highest spraying pressure")
    if rig.nozzles.max_pressure_pa is None:
        missing = "Enter the highest pressure that you spray at: the rig file has no range for its nozzles."
        pressure = entries.need("highest", read, missing)
    else:
        pressure = entries.read("highest", read)
    margin = entries.read("margin", lambda text: parse_quantity(text, "fraction", "What is to spare"))
    if margin is not None and not 0 <= margin <= 5:
        entries.sentences["margin"] = "What is to spare must be 0 to 500 %: correct it."
    gravity = entries.read("gravity", read_gravity) or 1.0
    entries.sentences.pop("gravity", None)  # said where it was typed
    entries.check()
    agitation = AGITATION[mix]
    verdict = judge_pump(rig, agitation, pressure, gravity, MARGIN if margin is None else margin)
    return _verdict(rig, verdict, agitation)


def _verdict(rig: Rig, verdict: PumpVerdict, agitation: float) -> list[Any]:
    system, need = rig.units, verdict.need
    rows = [
        (f"{rig.nozzles.count} nozzles", format_value(need.nozzles_m3_s, "flow", system)),
        (
            f"Agitation, {100 * agitation:.3g} % of the tank a minute",
            format_value(need.agitation_m3_s, "flow", system),
        ),
        ("Together", format_value(need.need_m3_s, "flow", system)),
        (f"With {100 * need.margin:.0f} % to spare", format_value(need.with_margin_m3_s, "flow", system)),
        ("The pump gives", format_value(verdict.pump_m3_s, "flow", system)),
    ]
    return [
        html.P(verdict.remark, className="headline"),
        html.P(f"At {format_value(verdict.pressure_pa, 'pressure', system)}, all nozzles open:"),
        figures(rows, frozenset({"The pump gives"})),
    ]
