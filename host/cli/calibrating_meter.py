"""`swardflow calibrate meter`."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

from host.calibrate import card_sections
from host.calibrate.amounts import AmountReader
from host.calibrate.guide import Taken
from host.calibrate.meter import MeterCalibration, MeterCatch, calibrate_meter
from host.calibrate.vessels import JUG, TANK
from host.cli.amounts import amount_reader, count_of, whole
from host.cli.calibration_answer import budget, budget_text, finish
from host.cli.guided_sessions import counted_by_guide
from host.errors import UserError
from host.rig import Rig
from host.units import column_name, format_value, parse_quantity, to_user


def calibrate_meter_from(args: argparse.Namespace, rig: Rig, system: str) -> int:
    """Meter factor from typed catches, stretches of runs, a tank balance and the guide; 1 when one is an outlier."""
    reader = amount_reader(args)
    catches = [_typed_catch(values, f"--catch {n}", reader) for n, values in enumerate(args.catch, start=1)]
    catches += [_stretch_catch(values, f"--stretch {n}", reader) for n, values in enumerate(args.stretch, start=1)]
    if args.tank_balance:
        catches.append(_tank_catch(args.tank_balance))
    draft = None
    if args.port:

        def so_far(taken: list[Taken], _: float) -> str:
            # The guided ones first: catch 3 is then the one that "u 3" drops.
            found = calibrate_meter([*map(_guided_catch, taken), *catches])
            known = f"So far {_curve_text(found.curve, system)}, ±{100 * found.uncertainty.expanded:.2g} %."
            return " ".join([known, *(found.remarks[:1] if found.outliers else ())])

        taken, draft, _ = counted_by_guide(args, rig, "flow", lambda text: reader.read(text, "the catch"), so_far)
        catches = [*map(_guided_catch, taken), *catches]
    result = calibrate_meter(catches)
    answer, lines = _shown(result, catches, system)
    section, record = card_sections.meter_section(result), card_sections.meter_record(result, catches)
    finish(args, rig, (section, record), answer, lines, draft)
    return 1 if result.outliers else 0


def _shown(result: MeterCalibration, catches: list[MeterCatch], system: str) -> tuple[dict[str, Any], list[str]]:
    """The answer for a program, and for a person."""
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
    return answer, [*lines, *result.remarks]


def _guided_catch(one: Taken) -> MeterCatch:
    return MeterCatch(one.pulses, one.amount, one.vessel or JUG, one.duration_s)


def _typed_catch(values: list[str], what: str, reader: AmountReader) -> MeterCatch:
    if len(values) not in (2, 3):
        raise UserError(f'{what} has {count_of(values)}: give pulses, amount and time, such as 1043 "2.31 L" "55 s".')
    seconds = parse_quantity(values[2], "time", f"{what}, time") if len(values) == 3 else None
    amount = reader.read(values[1], f"{what}, amount")
    return MeterCatch(whole(values[0], f"{what}, pulses"), amount.volume_m3, amount.vessel, seconds)


def _stretch_catch(values: list[str], what: str, reader: AmountReader) -> MeterCatch:
    from host.calibrate.interval import stretch_of_run
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


def _curve_text(curve: tuple[tuple[float, float], ...], system: str) -> str:
    if len(curve) == 1:
        return format_value(curve[0][1], "pulses_per_volume", system)
    return ", ".join(f"{format_value(k, 'pulses_per_volume', system)} at {hz:.1f} Hz" for hz, k in curve)
