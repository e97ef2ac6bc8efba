"""What a run's meter and transducer owe to the tools of their cards, so that one error counts as one everywhere.

A jug that reads 1 % high makes the meter of the run and the catch test of the boom alike 1 % high: held against each
other, nothing of it is left (JCGM 100:2008, 5.2.2). The cards name jug and gauge for that.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from host.calibrate.cards import Card, active_card
from host.calibrate.transducer import FittedLine
from host.calibrate.uncertainty import Component, rectangular
from host.rig import Meter, PressureSensor
from host.rig.model import DAY_TO_DAY


def meter_parts(meter: Meter, cards: Iterable[Card], frequency_hz: float) -> list[Component]:
    """What is open about a volume that `meter` counted at a pulse frequency: relative, positive where it reads high."""
    total = float(meter.relative_uncertainty_at(frequency_hz))
    shared = [
        Component(f"meter: {one['error']}", float(one["percent"]) / 100.0, shared=str(one["error"]))
        for one in _measured("meter", cards).get("shared", [])
    ]
    own = math.sqrt(max(total**2 - math.fsum(part.standard**2 for part in shared), 0.0))
    return [Component("meter factor", own), *shared, Component("meter, from day to day (assumed)", DAY_TO_DAY)]


def pressure_parts(sensor: PressureSensor, cards: Iterable[Card], pressure_pa: float) -> list[Component]:
    """What is open about Q/√P by a pressure that `sensor` read: relative; a gauge that read high makes it small."""
    half = 0.5 / pressure_pa
    total = float(sensor.uncertainty_at(pressure_pa))
    by_gauge, name = _by_gauge(_measured("pressure", cards), pressure_pa)
    own = math.sqrt(max(total**2 - by_gauge**2, 0.0))
    parts = [Component("transducer", half * own)]
    return [*parts, Component("transducer: accuracy of the gauge", -half * by_gauge, shared=name)] if name else parts


def middle_of(meter: Meter) -> float:
    """A pulse frequency (Hz) in the middle of those caught, where a meter is known best; 1 Hz where none is known."""
    return math.sqrt(meter.caught_hz[0] * meter.caught_hz[1]) if meter.caught_hz else 1.0


def _by_gauge(measured: Mapping[str, Any], pressure_pa: float) -> tuple[float, str]:
    """Standard uncertainty (Pa) that a pressure owes to its card's gauge, and that error's name; 0 and "" without."""
    gauge = measured.get("gauge")
    points = measured.get("points", [])
    if gauge is None or not gauge.get("error") or not any(float(one["pressure_kPa"]) > 0 for one in points):
        return 0.0, ""
    scale = float(measured["adc_full_scale"])
    line = FittedLine(
        tuple(float(one["counts"]) / scale for one in points),
        tuple(float(one["pressure_kPa"]) * 1e3 for one in points),
    )
    return line.gauge_at(pressure_pa) * rectangular(float(gauge["accuracy_kPa"]) * 1e3), str(gauge["error"])


def _measured(kind: str, cards: Iterable[Card]) -> Mapping[str, Any]:
    """The measurements of the active card of a kind; empty without one."""
    card = active_card(cards, kind)
    return {} if card is None else card.measurements
