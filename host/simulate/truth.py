"""What really happened, to hold a recording against. Written as JSON; every key carries its SI unit."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np

from host.errors import NotSavedError
from host.formulas import application_rate
from host.simulate.disturbances import KINDS, Disturbance, cause_of
from host.simulate.sprayer import Sprayer

SCHEMA = "1.1"
_AMOUNT_KEYS = {"fraction": "amount", "pressure": "amount_pa", "frequency": "amount_hz"}


def truth(sprayer: Sprayer) -> dict[str, Any]:
    """The truth so far: volume out of the nozzles, area and rate, passes, refills, disturbances, the meter's curve."""
    passes = _passes(sprayer)
    area = sum(one["area_m2"] for one in passes)
    scenario = sprayer.scenario
    return {
        "schema": SCHEMA,
        "title": scenario.title,
        "rig": scenario.rig.name,
        "seed": scenario.seed,
        "simulated_s": sprayer.now_s,
        "duration_s": sprayer.duration_s,
        "swath_m": scenario.rig.swath_m,
        "volume_m3": sprayer.sprayed_m3,
        "leaked_m3": sprayer.leaked_m3,
        "tank_left_m3": sprayer.tank_left_m3,
        "dry_since_s": sprayer.dry_since_s,
        "distance_m": float(sprayer.walk.distance_at(np.array([sprayer.now_s]))[0]),
        "area_m2": area,
        "rate_m3_m2": sprayer.sprayed_m3 / area if area else None,
        "passes": passes,
        "refills": [{"begin_s": begin, "end_s": end} for begin, end in sprayer.walk.refills],
        "disturbances": [_disturbance(disturbance) for disturbance in sprayer.disturbances.all],
        "causes": _causes(sprayer),
        "meter_curve_hz_pulses_per_m3": np.column_stack(
            [sprayer.curve.frequency_hz, sprayer.curve.pulses_per_m3]
        ).tolist(),
        "meter_curve_toml": meter_curve_toml(sprayer),
        "set_pressure_pa": sprayer.set_pressure_pa,
        "clock_error": scenario.board.clock_error,
    }


def _passes(sprayer: Sprayer) -> list[dict[str, Any]]:
    begun = [*sprayer.begun_m3, sprayer.sprayed_m3]
    passes = []
    for number, (one, before, after) in enumerate(zip(sprayer.walk.passes, begun[:-1], begun[1:], strict=False), 1):
        end_s = min(one.end_s, sprayer.now_s)
        begin_m, end_m = sprayer.walk.distance_at(np.array([one.begin_s, end_s]))
        distance, time = float(end_m - begin_m), end_s - one.begin_s
        area, volume = distance * sprayer.scenario.rig.swath_m, after - before
        speed = distance / time if time > 0 else 0.0
        passes.append(
            {
                "number": number,
                "begin_s": one.begin_s,
                "end_s": end_s,
                "distance_m": distance,
                "area_m2": area,
                "volume_m3": volume,
                "speed_m_s": speed,
                "rate_m3_m2": float(application_rate(volume / time, speed, sprayer.scenario.rig.swath_m))
                if area > 0
                else None,
            }
        )
    return passes


def _causes(sprayer: Sprayer) -> list[dict[str, Any]]:
    """What a watch over faults should call, oldest first."""
    causes = [
        {"cause": cause_of(disturbance.kind), "begin_s": disturbance.at_s}
        for disturbance in sprayer.disturbances.all
        if cause_of(disturbance.kind)
    ]
    if sprayer.dry_since_s is not None:
        causes.append({"cause": "tank_empty", "begin_s": sprayer.dry_since_s})
    return causes


def _disturbance(disturbance: Disturbance) -> dict[str, Any]:
    kind = KINDS[disturbance.kind]
    told: dict[str, Any] = {
        "kind": disturbance.kind,
        "is_fault": kind.is_fault,
        "begin_s": disturbance.at_s,
        "full_s": disturbance.at_s + disturbance.over_s,
        "end_s": disturbance.end_s if math.isfinite(disturbance.end_s) else None,
    }
    if kind.amount is not None:
        told[_AMOUNT_KEYS[kind.amount]] = disturbance.amount
    if disturbance.kind in ("clog", "wear", "lost_tip"):
        told["nozzles"] = disturbance.nozzles
    return told


def meter_curve_toml(sprayer: Sprayer) -> str:
    """The meter's true curve as a line for a rig file's [meter] table: with it, the meter is calibrated."""
    points = zip(sprayer.curve.frequency_hz.tolist(), sprayer.curve.pulses_per_m3.tolist(), strict=True)
    if len(sprayer.curve.frequency_hz) == 1:
        return f'factor = "{sprayer.curve.pulses_per_m3[0] / 1000:.6g} /L"'
    return "curve = [" + ", ".join(f'["{hz:.6g} Hz", "{factor / 1000:.6g} /L"]' for hz, factor in points) + "]"


def write_truth(path: Path, sprayer: Sprayer) -> None:
    """Write the truth so far.

    Raises UserError when the file cannot be written.
    """
    try:
        path.write_text(json.dumps(truth(sprayer), indent=1, allow_nan=False) + "\n", encoding="utf-8")
    except OSError as error:
        raise NotSavedError(
            f"truth file {path} cannot be written: {error.strerror}; choose another with --truth"
        ) from None
