"""What each kind of `swardflow calibrate` does. Imported only when one runs."""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import replace
from typing import Any

from host.calibrate import card_sections
from host.calibrate.cards import in_force, load_cards
from host.calibrate.course_guide import CourseGuide
from host.calibrate.drafts import DraftFile
from host.calibrate.guide import Taken
from host.calibrate.transducer import PressureCalibration, PressurePoint, calibrate_pressure
from host.calibrate.travel import calibrate_course, calibrate_wheel
from host.calibrate.vessels import Gauge
from host.cli.amounts import number, whole
from host.cli.calibrating_boom import calibrate_boom
from host.cli.calibrating_meter import calibrate_meter_from
from host.cli.calibration_answer import budget, budget_text, finish
from host.cli.guided_loop import NoBoard, guide_through, terminal_for
from host.cli.guided_sessions import CourseTalk, counted_by_guide
from host.errors import UserError
from host.rig import Rig, load_rig
from host.units import UNITS, column_name, format_value, parse_quantity, to_user


def calibrate(args: argparse.Namespace) -> int:
    """Run one kind of calibration, print its result, keep its card."""
    rig = load_rig(args.rig)
    kinds = {
        "meter": calibrate_meter_from,
        "pressure": _pressure,
        "wheel": _wheel,
        "course": _course,
        "boom": calibrate_boom,
        "cards": _cards,
    }
    return kinds[args.kind](args, rig, args.units or rig.units)


def _pressure(args: argparse.Namespace, rig: Rig, system: str) -> int:
    if rig.pressure is None:
        raise UserError(f"rig file {args.rig} has no [pressure] section: add the transducer's span to it first.")
    full_scale = number(args.full_scale, "--full-scale")
    if not full_scale > 1:
        raise UserError(f"--full-scale is {args.full_scale}: give the counts at full supply, 1023 for ten bits.")
    points = [PressurePoint(0.0, number(text, f"--zero {n}")) for n, text in enumerate(args.zero, start=1)]
    for n, (pressure, counts) in enumerate(args.point, start=1):
        at = parse_quantity(pressure, "pressure", f"--point {n}, pressure")
        points.append(PressurePoint(at, number(counts, f"--point {n}, counts")))
    gauge = _gauge(args)
    draft = None
    if args.port:
        before = rig.pressure

        def so_far(taken: list[Taken], board_scale: float) -> str:
            calibrate_pressure([*map(_guided_point, taken), *points], before, board_scale, gauge)
            return ""

        taken, draft, full_scale = counted_by_guide(
            args, rig, "pressure", lambda text: parse_quantity(text, "pressure", "the gauge"), so_far
        )
        points = [*map(_guided_point, taken), *points]
    result = calibrate_pressure(points, rig.pressure, full_scale, gauge)
    answer, lines = _pressure_shown(result, points, full_scale, system)
    cards = card_sections.pressure_section(result), card_sections.pressure_record(result, points, full_scale)
    finish(args, rig, cards, answer, lines, draft)
    return 0


def _guided_point(one: Taken) -> PressurePoint:
    return PressurePoint(one.amount, one.mean_counts or 0.0)


def _gauge(args: argparse.Namespace) -> Gauge:
    gauge = Gauge()
    if args.gauge_step:
        gauge = replace(gauge, step_pa=parse_quantity(args.gauge_step, "pressure", "--gauge-step"))
    if args.gauge_accuracy:
        gauge = replace(gauge, accuracy_pa=parse_quantity(args.gauge_accuracy, "pressure", "--gauge-accuracy"))
    return gauge


def _pressure_shown(
    result: PressureCalibration, points: list[PressurePoint], full_scale: float, system: str
) -> tuple[dict[str, Any], list[str]]:
    sensor = result.sensor
    per_si = to_user(1.0, "pressure", system)
    key = column_name("residual", "pressure", system)
    answer = {
        column_name("low", "pressure", system): to_user(sensor.low_pa, "pressure", system),
        column_name("high", "pressure", system): to_user(sensor.high_pa, "pressure", system),
        "low_percent_of_supply": 100 * sensor.low_fraction,
        "high_percent_of_supply": 100 * sensor.high_fraction,
        **budget(result.uncertainty, per_si, column_name("", "pressure", system).lstrip("_")),
        "not_believed_below_counts": sensor.open_below * full_scale,
        "not_believed_above_counts": sensor.short_above * full_scale,
        "points": [
            {"counts": p.counts, column_name("pressure", "pressure", system): p.pressure_pa * per_si, key: r * per_si}
            for p, r in zip(points, result.residuals_pa, strict=True)
        ],
    }
    low, high = (format_value(value, "pressure", system) for value in (sensor.low_pa, sensor.high_pa))
    unit = UNITS[system]["pressure"].symbol
    lines = [
        f"Span: {low} at {100 * sensor.low_fraction:.0f} % and {high} at "
        f"{100 * sensor.high_fraction:.0f} % of the supply",
        budget_text(result.uncertainty, per_si, unit),
        f"Below {sensor.open_below * full_scale:.0f} and above {sensor.short_above * full_scale:.0f} counts it is not "
        "believed: wire open or shorted.",
        *(
            f"  {format_value(p.pressure_pa, 'pressure', system)} at {p.counts:g} counts: "
            f"off by {r * per_si:+.2g} {unit}"
            for p, r in zip(points, result.residuals_pa, strict=True)
        ),
    ]
    return answer, [*lines, *result.remarks]


def _wheel(args: argparse.Namespace, rig: Rig, system: str) -> int:
    if rig.wheel is None:
        raise UserError(f"rig file {args.rig} has no [wheel] section: add the wheel to it first.")
    distance = parse_quantity(args.course, "length", "--course")
    pulses = [whole(text, f"--pulses, pass {n}") for n, text in enumerate(args.pulses, start=1)]
    draft = None
    if args.port:

        def so_far(taken: list[Taken], _: float) -> str:
            found = calibrate_wheel(distance, [*(one.pulses for one in taken), *pulses])
            known = (
                f"So far {1e3 * found.metres_per_pulse:.2f} mm per pulse, ±{100 * found.uncertainty.expanded:.2g} %."
            )
            return " ".join([known, *found.remarks])

        taken, draft, _ = counted_by_guide(args, rig, "wheel", lambda _: distance, so_far)
        pulses = [*(one.pulses for one in taken), *pulses]
    result = calibrate_wheel(distance, pulses)
    per_turn = rig.wheel.pulses_per_turn
    turn = result.metres_per_pulse * per_turn
    answer = {
        "mm_per_pulse": 1e3 * result.metres_per_pulse,
        column_name("circumference", "length", system): to_user(turn, "length", system),
        "pulses_per_turn": per_turn,
        **budget(result.uncertainty, 100.0, "percent"),
        "passes": [{"pulses": p, "residual_percent": 100 * r} for p, r in zip(pulses, result.residuals, strict=True)],
    }
    lines = [
        f"Wheel: {1e3 * result.metres_per_pulse:.2f} mm per pulse, circumference {turn:.4f} m "
        f"({turn / 0.0254:.2f} in) at {per_turn} pulses per turn",
        budget_text(result.uncertainty, 100.0, "%"),
    ]
    record = card_sections.uncertainty_record(result.uncertainty) | {"course_m": distance, "pulses": pulses}
    section = card_sections.wheel_section(result, per_turn)
    finish(args, rig, (section, record | {"remarks": list(result.remarks)}), answer, [*lines, *result.remarks], draft)
    return 0


def _course(args: argparse.Namespace, rig: Rig, system: str) -> int:
    if rig.course is None:
        raise UserError(f"rig file {args.rig} has no [course] section: its speed comes from the wheel; calibrate that.")
    distance = parse_quantity(args.course, "length", "--course")
    times = [parse_quantity(text, "time", f"--times, pass {n}") for n, text in enumerate(args.times, start=1)]
    draft = None
    if args.guided:
        draft = DraftFile(args.cards.expanduser(), rig.name, args.kind)

        def judge(guide: CourseGuide) -> None:
            calibrate_course(distance, [*guide.times_s, *times])

        talk = CourseTalk(CourseGuide(distance, time.monotonic), system, judge)
        guide_through(talk, NoBoard(), draft, terminal_for(args.json))
        times = [*talk.guide.times_s, *times]
    result = calibrate_course(distance, times)
    answer = {
        column_name("speed", "speed", system): to_user(result.speed_m_s, "speed", system),
        "spread_percent": None if result.spread is None else 100 * result.spread,
        **budget(result.uncertainty, 100.0, "percent"),
        "passes": [{"time_s": t, "residual_percent": 100 * r} for t, r in zip(times, result.residuals, strict=True)],
    }
    spread = "" if result.spread is None else f", your passes vary by {100 * result.spread:.1f} %"
    lines = [
        f"Pace: {format_value(result.speed_m_s, 'speed', system)} ({result.speed_m_s / 0.3048:.2f} ft/s, "
        f"{result.speed_m_s:.3f} m/s){spread}",
        budget_text(result.uncertainty, 100.0, "%"),
    ]
    record = card_sections.uncertainty_record(result.uncertainty) | {"course_m": distance, "times_s": times}
    section = card_sections.course_section(result)
    finish(args, rig, (section, record | {"remarks": list(result.remarks)}), answer, [*lines, *result.remarks], draft)
    return 0


def _cards(args: argparse.Namespace, rig: Rig, system: str) -> int:
    cards = load_cards(args.cards.expanduser(), rig.name)
    newest = in_force(cards)
    if args.json:
        rows = [{"kind": one.kind, "made": one.made.isoformat(), "in_force": one in newest} for one in cards]
        print(json.dumps({"rig": rig.name, "cards": rows}, indent=2))
        return 0
    if not cards:
        print(f"No cards of {rig.name} in {args.cards}: the rig file's own numbers are in force.")
    for one in cards:
        print(f"{one.made:%Y-%m-%d %H:%M}  {one.kind:<8} {'in force' if one in newest else ''}".rstrip())
    return 0
