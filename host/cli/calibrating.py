"""What each kind of `swardflow calibrate` does. Imported only when one runs."""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path

from host.calibrate import card_sections
from host.calibrate.amounts import AmountReader
from host.calibrate.cards import in_force, load_cards
from host.calibrate.meter import MeterCatch, calibrate_meter
from host.calibrate.transducer import Gauge, PressurePoint, calibrate_pressure
from host.calibrate.travel import calibrate_course, calibrate_wheel
from host.calibrate.vessels import TANK, Vessel
from host.cli.amounts import amount_reader, count_of, number, whole
from host.cli.calibrating_boom import calibrate_boom
from host.cli.calibration_answer import budget, budget_text, finish
from host.cli.guided import guided
from host.errors import UserError
from host.rig import Rig, load_rig
from host.units import column_name, format_value, parse_quantity, to_user


def calibrate(args: argparse.Namespace) -> int:
    """Run one kind of calibration, print its result, keep its card."""
    rig = load_rig(args.rig)
    kinds = {
        "meter": _meter,
        "pressure": _pressure,
        "wheel": _wheel,
        "course": _course,
        "boom": calibrate_boom,
        "cards": _cards,
    }
    return kinds[args.kind](args, rig, args.units or rig.units)


def _meter(args: argparse.Namespace, rig: Rig, system: str) -> int:
    reader = amount_reader(args)
    catches = [_typed_catch(values, f"--catch {n}", reader) for n, values in enumerate(args.catch, start=1)]
    catches += [_stretch_catch(values, f"--stretch {n}", reader) for n, values in enumerate(args.stretch, start=1)]
    if args.port:
        catches += _guided_catches(args.port, reader)
    if args.tank_balance:
        catches.append(_tank_catch(args.tank_balance))
    result = calibrate_meter(catches)
    unit = "pulses_per_volume"
    rows = [
        {
            "catch": n,
            "pulses": one.pulses,
            column_name("volume", "volume", system): to_user(one.volume_m3, "volume", system),
            "frequency_hz": one.frequency_hz,
            column_name("factor", unit, system): to_user(one.factor, unit, system),
            "residual_percent": 100 * residual,
            "outlier": n - 1 in result.outliers,
        }
        for n, (one, residual) in enumerate(zip(catches, result.residuals, strict=True), start=1)
    ]
    answer = {
        "curve": [
            {"frequency_hz": hz, column_name("factor", unit, system): to_user(k, unit, system)}
            for hz, k in result.curve
        ],
        **budget(result.uncertainty, 100.0, "percent"),
        "holds_hz": result.range_hz,
        "catches": rows,
    }
    name = "Meter factor" if len(result.curve) == 1 else "Meter factor over pulse frequency"
    lines = [name + ": " + _curve_text(result.curve, system), budget_text(result.uncertainty, 100.0, "%")]
    if result.range_hz is not None:
        lines.append(f"Holds from {result.range_hz[0]:.1f} to {result.range_hz[1]:.1f} Hz, where it was caught.")
    for row, one in zip(rows, catches, strict=True):
        at = "" if one.frequency_hz is None else f" at {one.frequency_hz:.1f} Hz"
        odd = "  <- outlier" if row["outlier"] else ""
        lines.append(
            f"  catch {row['catch']}: {format_value(one.factor, unit, system)}{at}, off by "
            f"{row['residual_percent']:+.2f} %{odd}"
        )
    section, record = card_sections.meter_section(result), card_sections.meter_record(result, catches)
    finish(args, rig, (section, record), answer, [*lines, *result.remarks])
    return 1 if result.outliers else 0


def _guided_catches(port: str, reader: AmountReader) -> list[MeterCatch]:
    vessels: dict[float, Vessel] = {}

    def read(text: str) -> float:
        amount = reader.read(text, "the catch")
        vessels[amount.volume_m3] = amount.vessel
        return amount.volume_m3

    taken, _ = guided(port, "flow", read)
    return [MeterCatch(one.pulses, one.amount, vessels[one.amount], one.duration_s) for one in taken]


def _typed_catch(values: list[str], what: str, reader: AmountReader) -> MeterCatch:
    if len(values) not in (2, 3):
        raise UserError(f'{what} has {count_of(values)}: give pulses, amount and time, such as 1043 "2.31 L" "55 s".')
    seconds = parse_quantity(values[2], "time", f"{what}, time") if len(values) == 3 else None
    amount = reader.read(values[1], f"{what}, amount")
    return MeterCatch(whole(values[0], f"{what}, pulses"), amount.volume_m3, amount.vessel, seconds)


def _stretch_catch(values: list[str], what: str, reader: AmountReader) -> MeterCatch:
    from host.calibrate.stretch import stretch_of_run
    from host.journal import read_run

    run_file, start, end, amount = values
    if not Path(run_file).is_file():
        raise UserError(f"{what}: run file {run_file} does not exist: give the path of a run file (*.sward).")
    counted = stretch_of_run(read_run(Path(run_file)), start, end)
    caught = reader.read(amount, f"{what}, amount")
    return MeterCatch(counted.flow_pulses, caught.volume_m3, caught.vessel, counted.flowing_s or None)


def _tank_catch(values: list[str]) -> MeterCatch:
    what = "--tank-balance"
    if len(values) not in (3, 4):
        raise UserError(f'{what} has {count_of(values)}: give filled, left over, pulses, such as "50 L" "12 L" 17100.')
    filled, left = (parse_quantity(text, "volume", what) for text in values[:2])
    if not filled > left >= 0:
        raise UserError(f"{what}: {values[0]} filled and {values[1]} left over leave nothing sprayed: check the two.")
    seconds = parse_quantity(values[3], "time", f"{what}, time") if len(values) == 4 else None
    # Two marks were read, filled and left over.
    vessel = replace(TANK, step_m3=TANK.step_m3 * 2**0.5)
    return MeterCatch(whole(values[2], f"{what}, pulses"), filled - left, vessel, seconds)


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
    if args.port:
        taken, full_scale = guided(args.port, "pressure", lambda text: parse_quantity(text, "pressure", "the gauge"))
        points += [PressurePoint(one.amount, one.mean_counts or 0.0) for one in taken]
    gauge = Gauge()
    if args.gauge_step:
        gauge = replace(gauge, step_pa=parse_quantity(args.gauge_step, "pressure", "--gauge-step"))
    if args.gauge_accuracy:
        gauge = replace(gauge, accuracy_pa=parse_quantity(args.gauge_accuracy, "pressure", "--gauge-accuracy"))
    result = calibrate_pressure(points, rig.pressure, full_scale, gauge)
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
    lines = [
        f"Span: {low} at {100 * sensor.low_fraction:.0f} % and {high} at "
        f"{100 * sensor.high_fraction:.0f} % of the supply",
        budget_text(result.uncertainty, per_si, format_value(0.0, "pressure", system).split()[1]),
        f"Below {sensor.open_below * full_scale:.0f} and above {sensor.short_above * full_scale:.0f} counts it is not "
        "believed: wire open or shorted.",
        *(
            f"  {format_value(p.pressure_pa, 'pressure', system)} at {p.counts:g} counts: off by {r * per_si:+.3g}"
            for p, r in zip(points, result.residuals_pa, strict=True)
        ),
    ]
    cards = card_sections.pressure_section(result), card_sections.pressure_record(result, points, full_scale)
    finish(args, rig, cards, answer, [*lines, *result.remarks])
    return 0


def _wheel(args: argparse.Namespace, rig: Rig, system: str) -> int:
    if rig.wheel is None:
        raise UserError(f"rig file {args.rig} has no [wheel] section: add the wheel to it first.")
    distance = parse_quantity(args.course, "length", "--course")
    pulses = [whole(text, f"--pulses, pass {n}") for n, text in enumerate(args.pulses, start=1)]
    if args.port:
        taken, _ = guided(args.port, "wheel", lambda _: distance)
        pulses += [one.pulses for one in taken]
    result = calibrate_wheel(distance, pulses)
    per_turn = round(_wheel_pulses_per_turn(rig))
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
    finish(args, rig, (section, record | {"remarks": list(result.remarks)}), answer, [*lines, *result.remarks])
    return 0


def _wheel_pulses_per_turn(rig: Rig) -> float:
    import tomllib

    return float(tomllib.loads(rig.toml)["wheel"]["pulses_per_turn"])


def _course(args: argparse.Namespace, rig: Rig, system: str) -> int:
    if rig.course is None:
        raise UserError(f"rig file {args.rig} has no [course] section: its speed comes from the wheel; calibrate that.")
    distance = parse_quantity(args.course, "length", "--course")
    times = [parse_quantity(text, "time", f"--times, pass {n}") for n, text in enumerate(args.times, start=1)]
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
    finish(args, rig, (section, record | {"remarks": list(result.remarks)}), answer, [*lines, *result.remarks])
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


def _curve_text(curve: tuple[tuple[float, float], ...], system: str) -> str:
    if len(curve) == 1:
        return format_value(curve[0][1], "pulses_per_volume", system)
    return ", ".join(f"{format_value(k, 'pulses_per_volume', system)} at {hz:.1f} Hz" for hz, k in curve)
