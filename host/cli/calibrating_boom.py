"""`swardflow calibrate boom`."""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from host.calibrate import card_sections
from host.calibrate.amounts import Amount, AmountReader, one_vessel
from host.calibrate.boom import FAULT, FLAG, OK, BoomCatch, BoomTest, CatchResult, Reading, catch_test
from host.calibrate.boom_guide import BoomGuide
from host.calibrate.cards import apply_cards, load_cards
from host.calibrate.drafts import DraftFile
from host.cli.amounts import amount_reader, count_of
from host.cli.calibration_answer import budget, finish
from host.cli.guided_loop import NoBoard, board_at, guide_through, terminal_for
from host.cli.guided_sessions import BoomTalk
from host.errors import UserError
from host.rig import Rig
from host.units import column_name, format_value, parse_quantity, to_user

_WORDS = {
    OK: "",
    FLAG: "  <- over 5 % from the mean: clean it and catch again",
    FAULT: "  <- FAULT: over 10 % from the mean",
}


def calibrate_boom(args: argparse.Namespace, rig: Rig, system: str) -> int:
    """Judge the boom; 1 when something is to be looked at."""
    reader = amount_reader(args)
    caught = [_boom_catch(values, f"--catch {n}", reader) for n, values in enumerate(args.catch, start=1)]
    rig = apply_cards(rig, load_cards(args.cards.expanduser(), rig.name))
    speed = parse_quantity(args.speed, "speed", "--speed") if args.speed else None
    if speed is None and rig.course is not None:
        speed = rig.course.speed_m_s

    def judge(guide: BoomGuide | None) -> tuple[BoomTest, Reading]:
        catches, amounts = [one for one, _ in caught], [amount for _, group in caught for amount in group]
        reading = Reading()
        if guide is not None:
            nozzles = [one for group in guide.rounds for one in group]
            catches, amounts = catches + guide.catches(), amounts + [one.amount for one in nozzles]
            if rig.pressure and rig.pressure.uncertainty_pa and not (caught or any(one.by_gauge for one in nozzles)):
                reading = replace(reading, transducer_pa=float(rig.pressure.uncertainty_at(rig.pressure.high_pa)))
        reading = replace(reading, vessel=one_vessel(amounts))
        return catch_test(catches, rig, speed, reading), reading

    guide, draft = None, None
    if args.port or args.guided:
        draft = DraftFile(args.cards.expanduser(), rig.name, args.kind)
        guide = _by_guide(args, rig, system, (reader, judge, draft))
    test, reading = judge(guide)
    lines: list[str] = []
    for result in test.results:
        lines += _catch_text(result, rig, speed, system)
    if speed is None:
        lines.append("Give --speed to see the rate, and the pressure that would hit the target.")
    lines += [finding.sentence(system) for finding in test.findings]
    answer = {
        "catches": [_catch_json(result, system) for result in test.results],
        "findings": [finding.sentence(system) for finding in test.findings],
    }
    finish(args, rig, ({}, card_sections.boom_record(rig, test, reading)), answer, lines, draft)
    return 1 if test.findings or _any_bad(test) else 0


def _by_guide(
    args: argparse.Namespace, rig: Rig, system: str, means: tuple[AmountReader, Callable[[BoomGuide], Any], DraftFile]
) -> BoomGuide:
    """Nozzle after nozzle, with the board at --port or with the stopwatch alone."""
    reader, judge, draft = means
    guide = BoomGuide(rig.nozzles.count, time.monotonic, rig.pressure)
    talk = BoomTalk(guide, reader, system, judge)
    if not args.port:
        guide_through(talk, NoBoard(), draft, terminal_for(args.json))
        return guide
    with board_at(args.port, rig) as board:
        guide.adc_full_scale = board.adc_full_scale
        guide_through(talk, board, draft, terminal_for(args.json))
    return guide


def _any_bad(test: BoomTest) -> bool:
    return any(one.verdict != "ok" or one.worn for result in test.results for one in result.nozzles)


def _boom_catch(values: list[str], what: str, reader: AmountReader) -> tuple[BoomCatch, list[Amount]]:
    if len(values) < 3:
        raise UserError(f"{what} has {count_of(values)}: give pressure, time and one amount for each nozzle.")
    pressure = parse_quantity(values[0], "pressure", f"{what}, pressure")
    seconds = parse_quantity(values[1], "time", f"{what}, time")
    amounts = [reader.read(text, f"{what}, nozzle {n}") for n, text in enumerate(values[2:], start=1)]
    return BoomCatch(pressure, seconds, tuple(one.volume_m3 for one in amounts)), amounts


def _catch_text(result: CatchResult, rig: Rig, speed: float | None, system: str) -> list[str]:
    at = format_value(result.catch.pressure_pa, "pressure", system)
    vary = "" if result.variation is None else f", coefficient of variation {100 * result.variation:.1f} %"
    seconds = f"{result.catch.duration_s:.4g} s"
    timed = f" for {seconds}" if result.catch.times_s is None else f", {seconds} each on average"
    mean = format_value(result.mean_flow_m3_s, "flow", system)
    whole = format_value(result.total_coefficient, "orifice_coefficient", system)
    lines = [
        f"At {at}{timed}: mean {mean}{vary}",
        f"  the whole boom: {whole}, known to ±{100 * result.uncertainty.expanded:.2g} % (95 %)",
    ]
    for one in result.nozzles:
        advice = _WORDS[one.verdict] + ("  <- worn: over 10 % above its rating, replace it" if one.worn else "")
        lines.append(
            f"  nozzle {one.number}: {format_value(one.flow_m3_s, 'flow', system)}, "
            f"{format_value(one.coefficient, 'orifice_coefficient', system)}, "
            f"{100 * one.deviation:+.1f} % of the mean, {100 * one.wear:+.1f} % of the rating{advice}"
        )
    target = format_value(rig.target.rate_m3_m2, "rate", system)
    reach = f"  {target} needs {format_value(result.speed_for_target_m_s, 'speed', system)} at this pressure"
    if speed is not None and result.rate_m3_m2 is not None:
        pace = format_value(speed, "speed", system)
        lines.append(f"  rate at {pace}: {format_value(result.rate_m3_m2, 'rate', system)}")
        reach += f", or {format_value(result.pressure_for_target_pa, 'pressure', system)} at {pace}"
    return [*lines, reach]


def _catch_json(result: CatchResult, system: str) -> dict[str, Any]:
    def shown(name: str, kind: str, value: float | None) -> dict[str, float | None]:
        return {column_name(name, kind, system): None if value is None else to_user(value, kind, system)}

    return {
        **shown("pressure", "pressure", result.catch.pressure_pa),
        "time_s": result.catch.duration_s,
        **shown("mean_flow", "flow", result.mean_flow_m3_s),
        "variation_percent": None if result.variation is None else 100 * result.variation,
        **shown("total_coefficient", "orifice_coefficient", result.total_coefficient),
        **budget(result.uncertainty, 100.0, "percent"),
        **shown("rate", "rate", result.rate_m3_m2),
        **shown("pressure_for_target", "pressure", result.pressure_for_target_pa),
        **shown("speed_for_target", "speed", result.speed_for_target_m_s),
        "nozzles": [
            {
                "nozzle": one.number,
                **shown("flow", "flow", one.flow_m3_s),
                **shown("coefficient", "orifice_coefficient", one.coefficient),
                "deviation_percent": 100 * one.deviation,
                "wear_percent": 100 * one.wear,
                "verdict": one.verdict,
                "worn": one.worn,
            }
            for one in result.nozzles
        ],
    }
