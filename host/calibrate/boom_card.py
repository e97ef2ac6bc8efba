"""A catch test as its card keeps it, and what a watch over a run needs of it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np

from host.calibrate.boom import BoomCatch, BoomTest, Reading, coefficient_uncertainty
from host.calibrate.budget import short
from host.calibrate.cards import Card, active_card
from host.calibrate.uncertainty import Component, combine, rectangular
from host.calibrate.vessels import JUG, KITCHEN_BALANCE
from host.errors import DamagedFileError
from host.rig import Rig

# Relative, how a small meter's factor wanders from day to day: assumed, passes of one run cannot show it.
RUN_TO_RUN = 0.005


@dataclass(frozen=True)
class BoomCard:
    """A catch test as its card keeps it: (pressure Pa, coefficient of the whole boom m³/s/√Pa), rising by pressure.

    `parts` are the parts of its relative standard uncertainty.
    """

    made: datetime
    nozzles: int
    points: tuple[tuple[float, float], ...]
    parts: tuple[Component, ...]

    def coefficient(self, pressure_pa: float) -> float:
        """The boom's coefficient at a pressure, read between the catches, held beyond them."""
        at, values = zip(*self.points, strict=True)
        return float(np.interp(pressure_pa, at, values))


def boom_card(card: Card) -> BoomCard:
    """The catch test on a card. Raises DamagedFileError when the card is none, or does not hold what it should."""
    measured = card.measurements
    try:
        catches = sorted(measured["catches"], key=lambda one: float(one["pressure_kPa"]))
        points = tuple(
            (float(one["pressure_kPa"]) * 1e3, math.fsum(map(float, one["orifice_coefficients_m3_s_per_root_Pa"])))
            for one in catches
        )
        if not points or any(not (p > 0 and c > 0) for p, c in points):
            raise ValueError
        return BoomCard(card.made, int(measured["nozzles"]), points, _catch_parts(measured))
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        raise DamagedFileError(f"the catch test of {card.made:%Y-%m-%d} cannot be read: repeat it.") from None


def boom_measured(rig: Rig, test: BoomTest, reading: Reading) -> dict[str, Any]:
    """The measurements of a catch test's card: volumes as caught, so that a later test can be compared with them.

    `reading` says how well they were read: smallest step and accuracy of the jug, standard uncertainties of time and
    pressure.
    """
    return {
        "nozzles": rig.nozzles.count,
        "with": reading.vessel.name,
        "reading": {
            "step_mL": short(reading.vessel.step_m3 * 1e6),
            "accuracy_percent": short(100 * reading.vessel.accuracy),
            "time_s": short(reading.time_s),
            "pressure_kPa": short(reading.pressure_pa / 1e3),
        },
        "findings": [finding.sentence(rig.units) for finding in test.findings],
        "catches": [
            {
                "pressure_kPa": short(result.catch.pressure_pa / 1e3),
                "time_s": short(result.catch.duration_s),
                "volumes_mL": [short(volume * 1e6) for volume in result.catch.volumes_m3],
                "orifice_coefficients_m3_s_per_root_Pa": [short(nozzle.coefficient) for nozzle in result.nozzles],
                "expanded_percent": short(100 * result.uncertainty.expanded),
            }
            | ({} if (times := result.catch.times_s) is None else {"times_s": [short(time) for time in times]})
            | ({} if result.variation is None else {"variation_percent": short(100 * result.variation)})
            for result in test.results
        ],
    }


def _catch_parts(measured: Mapping[str, Any]) -> tuple[Component, ...]:
    first = measured["catches"][0]
    volumes = tuple(float(volume) * 1e-6 for volume in first["volumes_mL"])
    times = tuple(map(float, first["times_s"])) if "times_s" in first else None
    catch = BoomCatch(float(first["pressure_kPa"]) * 1e3, float(first["time_s"]), volumes, times)
    parts = coefficient_uncertainty(catch, _reading(measured)).components
    return tuple(replace(part, name=f"catch: {part.name}") for part in parts)


def _reading(measured: Mapping[str, Any]) -> Reading:
    """How well it was read; what is usual for jug or balance where an older card does not say."""
    name = measured.get("with", measured.get("vessel"))  # its name in format 1
    vessel = KITCHEN_BALANCE if name == KITCHEN_BALANCE.name else JUG
    if "reading" not in measured:
        return Reading(vessel=vessel)
    said = measured["reading"]
    step, accuracy = float(said["step_mL"]) * 1e-6, float(said["accuracy_percent"]) / 100.0
    vessel = replace(vessel, step_m3=step, accuracy=accuracy)
    return Reading(vessel, float(said["time_s"]), float(said["pressure_kPa"]) * 1e3)


@dataclass(frozen=True)
class CatchHeld:
    """The catch test that a run is held against from its first steady seconds on.

    `coefficient` is that of the whole boom, m³/s/√Pa; `relative_u` the standard uncertainty, relative, of what the
    run's meter and transducer measure over it when nothing is wrong.
    """

    made: datetime
    coefficient: float
    relative_u: float

    @property
    def pair(self) -> tuple[float, float]:
        """As `Pipeline(rig, catch=…)` takes it."""
        return self.coefficient, self.relative_u


def catch_held(rig: Rig, cards: Iterable[Card]) -> CatchHeld | None:
    """What the active catch test among `cards` says of the boom of `rig`; review and live page both ask here.

    The mean over its catches, and half their spread as an uncertainty (rectangular, GUM 4.3.7), with those of the
    catch, the meter, the transducer and the meter's wandering (GUM 5.1.2). None without a catch test, with one of
    another number of nozzles, with one that cannot be read, or without a transducer: then there is nothing to hold.
    """
    card = active_card(cards, "boom")
    if card is None or rig.pressure is None:
        return None
    try:
        test = boom_card(card)
    except DamagedFileError:  # a run must stay readable; `compare` says what is wrong with the card
        return None
    if test.nozzles != rig.nozzles.count:
        return None
    values = [value for _, value in test.points]
    mean = math.fsum(values) / len(values)
    pressure_pa = math.fsum(p for p, _ in test.points) / len(values)
    parts = [
        *test.parts,
        Component("catch: between pressures", rectangular((max(values) - min(values)) / 2.0) / mean),
        Component("run: meter factor", rig.meter.relative_uncertainty),
        Component("run: transducer", rig.pressure.uncertainty_pa / pressure_pa / 2.0),
        Component("run: from day to day (assumed)", RUN_TO_RUN),
    ]
    return CatchHeld(test.made, mean, combine(parts).standard)
