"""`swardflow plan`: is the pump big enough; which rate, speed and pressure go together."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from host.rig import Rig


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command and its two questions."""
    parser = commands.add_parser("plan", help="size the pump; find rate, speed or pressure from the other two")
    questions = parser.add_subparsers(dest="question", metavar="QUESTION", required=True)
    pump = questions.add_parser("pump", help="is the pump big enough for nozzles and agitation")
    _common(pump)
    pump.add_argument("--mix", choices=("solution", "suspension"), default="suspension", help="sets the agitation")
    pump.add_argument("--agitation", help='share of the tank per minute, such as "5 %%" (default: by --mix)')
    pump.add_argument("--pressure", help="highest spraying pressure (default: that of the nozzle's range)")
    pump.add_argument("--margin", default="20 %", help="to spare over nozzles and agitation (default: 20 %%)")
    rate = questions.add_parser("rate", help="rate, speed and pressure: give two, the third is found")
    _common(rate)
    rate.add_argument(
        "--rate", help='volume per area, such as "1 gal/1000 ft2" (default: the target, where one more is needed)'
    )
    rate.add_argument("--speed", help='such as "2.5 mph" (default: the rig\'s course, where one more is needed)')
    rate.add_argument("--pressure", help='such as "40 psi"')
    rate.add_argument("--nozzle-flow", help='of one nozzle, such as "0.35 gpm", in place of the pressure')
    rate.add_argument("--table", action="store_true", help="print the rate over speed and pressure as well")


def run(args: argparse.Namespace) -> int:
    """Answer; 1 when there is something to be warned of."""
    from host.calibrate.cards import apply_cards, load_cards
    from host.rig import load_rig

    rig = load_rig(args.rig)
    rig = apply_cards(rig, load_cards(args.cards.expanduser(), rig.name))
    return _pump(args, rig) if args.question == "pump" else _rate(args, rig)


def _common(parser: argparse.ArgumentParser) -> None:
    from host.run_folder import cards_folder

    parser.add_argument("--rig", type=Path, required=True, help="rig file (*.toml)")
    parser.add_argument("--cards", type=Path, default=cards_folder(), help="folder for cards (default: %(default)s)")
    parser.add_argument(
        "--gravity", default="1", metavar="SG", help="specific gravity of the liquid (default: 1, water)"
    )
    parser.add_argument("--units", choices=("us", "metric"), help="units to show (default: the rig's)")
    parser.add_argument("--json", action="store_true", help="print JSON, with units in the keys")


def _pump(args: argparse.Namespace, rig: Rig) -> int:
    from host.cli.amounts import number
    from host.plan.pump import AGITATION, judge_pump
    from host.units import column_name, format_value, parse_quantity, to_user

    system = args.units or rig.units
    agitation = parse_quantity(args.agitation, "fraction", "--agitation") if args.agitation else AGITATION[args.mix]
    pressure = parse_quantity(args.pressure, "pressure", "--pressure") if args.pressure else None
    margin = parse_quantity(args.margin, "fraction", "--margin")
    verdict = judge_pump(rig, agitation, pressure, number(args.gravity, "--gravity"), margin)
    flows = {
        "nozzles": verdict.need.nozzles_m3_s,
        "agitation": verdict.need.agitation_m3_s,
        "need": verdict.need.need_m3_s,
        "need_with_margin": verdict.need.with_margin_m3_s,
        "pump": verdict.pump_m3_s,
    }
    if args.json:
        answer: dict[str, Any] = {
            column_name("pressure", "pressure", system): to_user(verdict.pressure_pa, "pressure", system)
        }
        for name, flow in flows.items():
            answer[column_name(name, "flow", system)] = None if flow is None else to_user(flow, "flow", system)
        print(json.dumps(answer | {"verdict": verdict.verdict, "remark": verdict.remark}, indent=2, allow_nan=False))
    else:
        shown = {name: format_value(flow, "flow", system) for name, flow in flows.items()}
        print(f"At {format_value(verdict.pressure_pa, 'pressure', system)}, all {rig.nozzles.count} nozzles open:")
        print(f"  nozzles            {shown['nozzles']}")
        print(f"  agitation          {shown['agitation']}  ({100 * agitation:.3g} % of the tank per minute)")
        print(f"  together           {shown['need']}")
        print(f"  with {100 * margin:.0f} % to spare  {shown['need_with_margin']}")
        print(f"  the pump gives     {shown['pump']}")
        print(verdict.remark)
    return 0 if verdict.verdict in ("enough", "unknown") else 1


def _rate(args: argparse.Namespace, rig: Rig) -> int:
    from host.cli.amounts import number
    from host.plan.rate import solve
    from host.units import column_name, format_value, to_user

    system = args.units or rig.units
    given = {
        "rate_m3_m2": _given(args.rate, "rate", "--rate"),
        "speed_m_s": _given(args.speed, "speed", "--speed"),
        "pressure_pa": _given(args.pressure, "pressure", "--pressure"),
        "nozzle_flow_m3_s": _given(args.nozzle_flow, "flow", "--nozzle-flow"),
    }
    _fill_in(given, rig)
    gravity = number(args.gravity, "--gravity")
    setting = solve(rig, **given, specific_gravity=gravity)
    values = (
        ("rate", "rate", setting.rate_m3_m2),
        ("rate", "field_rate", setting.rate_m3_m2),
        ("speed", "speed", setting.speed_m_s),
        ("pressure", "pressure", setting.pressure_pa),
        ("nozzle_flow", "flow", setting.nozzle_flow_m3_s),
    )
    table = _table(rig, setting.speed_m_s, gravity) if args.table else None
    if args.json:
        answer: dict[str, Any] = {
            column_name(name, kind, system): to_user(si, kind, system) for name, kind, si in values
        }
        if table is not None:
            answer["table"] = [
                {column_name(kind, kind, system): to_user(si, kind, system) for kind, si in row.items()}
                for row in table
            ]
        print(json.dumps(answer | {"warnings": setting.warnings}, indent=2, allow_nan=False))
        return 1 if setting.warnings else 0
    for name, kind, si in values:
        print(f"{name.replace('_', ' '):<12} {format_value(si, kind, system)}")
    if table is not None:
        print(_table_text(table, system))
    for warning in setting.warnings:
        print(warning)
    return 1 if setting.warnings else 0


def _fill_in(given: dict[str, float | None], rig: Rig) -> None:
    """What is missing to two: the target rate, then the pace of the rig's course where it has one."""

    def missing() -> int:
        return 2 - sum(value is not None for value in given.values())

    if given["rate_m3_m2"] is None and (missing() == 1 or (missing() == 2 and rig.course is not None)):
        given["rate_m3_m2"] = rig.target.rate_m3_m2
    if given["speed_m_s"] is None and missing() == 1 and rig.course is not None:
        given["speed_m_s"] = rig.course.speed_m_s


def _given(text: str | None, kind: str, where: str) -> float | None:
    from host.units import parse_quantity

    return None if text is None else parse_quantity(text, kind, where)


def _table(rig: Rig, speed_m_s: float, gravity: float) -> list[dict[str, float]]:
    """Rows of pressure, speed and rate: seven speeds about the one asked for, pressures over the nozzle's range."""
    from host.plan.rate import rate_table

    at = rig.nozzles.reference_pressure_pa
    low, high = rig.nozzles.min_pressure_pa or at / 2, rig.nozzles.max_pressure_pa or at * 1.5
    pressures = [low + (high - low) * step / 6 for step in range(7)]
    speeds = [speed_m_s * factor for factor in (0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3)]
    rates = rate_table(rig, speeds, pressures, gravity)
    return [
        {"pressure": pressure, "speed": speed, "rate": float(rates[row, column])}
        for row, pressure in enumerate(pressures)
        for column, speed in enumerate(speeds)
    ]


def _table_text(table: list[dict[str, float]], system: str) -> str:
    from host.units import UNITS, to_user

    def shown(si: float, kind: str) -> str:
        return f"{to_user(si, kind, system):8.{UNITS[system][kind].decimals}f}"

    symbols = {kind: UNITS[system][kind].symbol for kind in ("rate", "speed", "pressure")}
    speeds = list(dict.fromkeys(row["speed"] for row in table))
    lines = [
        f"rate in {symbols['rate']} over speed in {symbols['speed']} and pressure in {symbols['pressure']}",
        " " * 8 + "".join(shown(speed, "speed") for speed in speeds),
    ]
    for start in range(0, len(table), len(speeds)):
        rows = table[start : start + len(speeds)]
        lines.append(shown(rows[0]["pressure"], "pressure") + "".join(shown(row["rate"], "rate") for row in rows))
    return "\n".join(lines)
