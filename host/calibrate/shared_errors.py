"""What a run's meter and transducer owe to the tools of their cards, so that one error counts as one everywhere.

A jug that reads 1 % high makes the meter of the run and the catch test of the boom alike 1 % high: held against each
other, nothing of it is left (JCGM 100:2008, 5.2.2). The cards name jug and gauge for that.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from host.calibrate.cards import Card, active_card
from host.calibrate.gauge_fit import HYSTERESIS, GaugeFit, fit_gauge, fit_line
from host.calibrate.uncertainty import Component, combine
from host.calibrate.vessels import Gauge
from host.rig import Meter, PressureSensor
from host.rig.model import DAY_TO_DAY


def meter_parts(meter: Meter, cards: Iterable[Card], frequency_hz: float) -> list[Component]:
    """What is open about a volume that `meter` counted at a pulse frequency: relative, positive where it reads high."""
    measured = _measured("meter", cards)
    shared = [
        Component(
            f"meter: {one['error']}",
            float(one["percent"]) / 100.0,
            shared=str(one["error"]),
            even=bool(one.get("even", False)),
        )
        for one in measured.get("shared", [])
    ]
    total = float(meter.relative_uncertainty_at(frequency_hz))
    # What a rig carries on is half of the ±: of the parts, the card knows the standard uncertainty itself.
    beyond2 = total**2 - meter.relative_uncertainty**2
    if shared:
        total = math.sqrt((float(measured["standard_percent"]) / 100.0) ** 2 + beyond2)
    own = math.sqrt(max(total**2 - math.fsum(part.standard**2 for part in shared), 0.0))
    return [Component("meter factor", own), *shared, Component("meter, from day to day (assumed)", DAY_TO_DAY)]


def pressure_parts(sensor: PressureSensor, cards: Iterable[Card], pressure_pa: float) -> list[Component]:
    """What is open about Q/√P by a pressure that `sensor` read: relative; a gauge that read high makes it small."""
    half = 0.5 / pressure_pa
    fit = _fit_of(sensor, _measured("pressure", cards))
    if fit is None:
        return [Component("transducer", half * float(sensor.uncertainty_at(pressure_pa)))]
    by_gauge, *others = fit.line_parts(pressure_pa)
    # A card of an earlier version has another line: what lies between the two is open, too.
    apart = Component("between the lines", fit.true_at(pressure_pa) - pressure_pa)
    rest = combine([*others, apart])
    return [
        Component("transducer", half * rest.standard, rest.degrees),
        replace(by_gauge, name="transducer: accuracy of the gauge", standard=-half * by_gauge.standard),
    ]


def line_of(sensor: PressureSensor) -> str:
    """Names the line that a transducer is read by: what is wrong with it is one error wherever it was used."""
    return f"{sensor.low_pa:.7g} to {sensor.high_pa:.7g} Pa at {sensor.low_fraction:.7g} to {sensor.high_fraction:.7g}"


def pressure_parts_of_one_line(sensor: PressureSensor, run_pa: float, catch_pa: float) -> list[Component]:
    """What is left of a transducer's error in Q/√P of a run over that of a catch test read by the same line.

    Its slope cancels; its zero does, too, at one pressure; what it shows again differs by its hysteresis.
    """
    zero = 0.5 * sensor.uncertainty_pa * abs(1.0 / run_pa - 1.0 / catch_pa)
    again = 0.5 * HYSTERESIS * (sensor.high_pa - sensor.low_pa) / run_pa
    return [Component("transducer: zero, at two pressures", zero), Component("transducer: hysteresis (assumed)", again)]


def middle_of(meter: Meter) -> float:
    """A pulse frequency (Hz) in the middle of those caught, where a meter is known best; 1 Hz where none is known."""
    return math.sqrt(meter.caught_hz[0] * meter.caught_hz[1]) if meter.caught_hz else 1.0


def fit_of_one_gauge(sensor: PressureSensor, cards: Iterable[Card], gauge: Gauge) -> GaugeFit | None:
    """The transducer's points against `gauge`, where it is the one that they were read from; else None."""
    fit = _fit_of(sensor, _measured("pressure", cards), gauge)
    return fit if fit and gauge.shared and fit.gauge.shared == gauge.shared else None


def _fit_of(sensor: PressureSensor, measured: Mapping[str, Any], told: Gauge | None = None) -> GaugeFit | None:
    """The points of a card: its line, or against a gauge told again, of which then what is worse counts.

    None where no gauge is named, or none was read.
    """
    gauge, points = measured.get("gauge"), measured.get("points", [])
    if gauge is None or not gauge.get("error") or not any(float(one["pressure_kPa"]) > 0 for one in points):
        return None
    pressures = [float(one["pressure_kPa"]) * 1e3 for one in points]
    shown = [at + float(one["residual_kPa"]) * 1e3 for at, one in zip(pressures, points, strict=True)]
    step, accuracy = float(gauge["step_kPa"]) * 1e3, float(gauge["accuracy_kPa"]) * 1e3
    span_pa, tool = sensor.high_pa - sensor.low_pa, gauge.get("tool", "")
    if told is None:
        return fit_line(shown, pressures, Gauge(step, accuracy, tool), span_pa)
    return fit_gauge(shown, pressures, Gauge(max(step, told.step_pa), max(accuracy, told.accuracy_pa), tool), span_pa)


def _measured(kind: str, cards: Iterable[Card]) -> Mapping[str, Any]:
    """The measurements of the active card of a kind; empty without one."""
    card = active_card(cards, kind)
    return {} if card is None else card.measurements
