"""A catch test as its card keeps it, and what a watch over a run needs of it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from statistics import fmean
from typing import Any

import numpy as np

from host.calibrate.boom import (
    FAULT_OVER,
    OF_PRESSURE,
    BoomCatch,
    BoomTest,
    Reading,
    coefficient_uncertainty,
    sound_mean,
)
from host.calibrate.budget import short, what_is_assumed
from host.calibrate.cards import Card, active_card
from host.calibrate.gauge_fit import GaugeFit
from host.calibrate.shared_errors import (
    fit_of_one_gauge,
    line_of,
    meter_parts,
    middle_of,
    pressure_parts,
    pressure_parts_of_one_line,
)
from host.calibrate.square_root_law import SAME_PRESSURE
from host.calibrate.uncertainty import Component, combine, rectangular
from host.calibrate.vessels import JUG, KITCHEN_BALANCE, USUAL_GAUGE, Gauge, gauge_measured
from host.errors import DamagedFileError
from host.rig import PressureSensor, Rig

_CAUGHT = "catch: "  # before the names of a catch test's parts


@dataclass(frozen=True)
class BoomCard:
    """A catch test as its card keeps it: (pressure Pa, coefficient of the whole boom m³/s/√Pa), rising by pressure.

    `parts` are, for each point, the parts of its relative standard uncertainty; `transducer` names the line that the
    pressures were read by, empty where it was a gauge or is not known.
    """

    made: datetime
    nozzles: int
    points: tuple[tuple[float, float], ...]
    parts: tuple[tuple[Component, ...], ...]
    transducer: str = ""
    each: tuple[tuple[float, ...], ...] = ()  # the nozzles' own coefficients, for each point
    gauge: Gauge | None = None  # that the pressures were read from, where it is known
    fit: GaugeFit | None = None  # of the transducer that `as_shown` went by
    catches: tuple[int, ...] = ()  # of all nozzles at each pressure

    def bad_nozzles(self, rated: float) -> tuple[int, ...]:
        """Numbers of the nozzles that gave far more or less than the sound ones; `rated` is a new one's coefficient."""
        far = [
            number
            for values in self.each
            for number, value in enumerate(values, start=1)
            if abs(value / sound_mean(values, rated) - 1.0) > FAULT_OVER
        ]
        return tuple(sorted(set(far)))

    def sound_coefficients(self, rated: float) -> list[float]:
        """The whole boom's coefficient at each point, a bad nozzle taken as the sound ones."""
        bad = self.bad_nozzles(rated)
        return [
            math.fsum(
                sound_mean(values, rated) if number in bad else value for number, value in enumerate(values, start=1)
            )
            for values in self.each
        ]

    def coefficient(self, pressure_pa: float) -> float:
        """The boom's coefficient at a pressure, read between the catches, held beyond them."""
        at, values = zip(*self.points, strict=True)
        return float(np.interp(pressure_pa, at, values))

    def catches_at(self, place: int) -> int:
        """How many catches of all nozzles a point is the mean of."""
        return self.catches[place] if self.catches else 1

    def with_more(self, place: int, more: int) -> BoomCard:
        """The same after so many more catches at one of its pressures that agree."""
        now = self.catches_at(place)
        parts = tuple(
            part if _is_alike(part) else replace(part, standard=part.standard * math.sqrt(now / (now + more)))
            for part in self.parts[place]
        )
        count = [self.catches_at(n) + (more if n == place else 0) for n in range(len(self.points))]
        return replace(self, catches=tuple(count), parts=(*self.parts[:place], parts, *self.parts[place + 1 :]))

    def caught_at(self, place: int, pressure_pa: float) -> BoomCard:
        """One of its points alone, as if caught at another pressure: what a pressure leaves open goes with 1/P."""
        at, coefficient = self.points[place]
        parts = tuple(
            replace(part, standard=part.standard * at / pressure_pa) if _of_pressure(part) else part
            for part in self.parts[place]
        )
        return replace(self, points=((pressure_pa, coefficient),), parts=(parts,), catches=(self.catches_at(place),))

    def nearest(self, pressure_pa: float) -> int:
        """Place of the catch nearest to a pressure (by ratio)."""
        return min(range(len(self.points)), key=lambda n: abs(math.log(self.points[n][0] / pressure_pa)))


def boom_card(card: Card) -> BoomCard:
    """The catch test on a card. Raises DamagedFileError when the card is none, or does not hold what it should."""
    measured = card.measurements
    try:
        catches = sorted(measured["catches"], key=lambda one: float(one["pressure_kPa"]))
        each = tuple(tuple(map(float, one["orifice_coefficients_m3_s_per_root_Pa"])) for one in catches)
        pressures = [float(one["pressure_kPa"]) * 1e3 for one in catches]
        if not each or not all(p > 0 and min(values) > 0 for p, values in zip(pressures, each, strict=True)):
            raise ValueError
        reading = _reading(measured)
        parts = [_catch_parts(one, reading) for one in catches]
        at_one = _at_one_pressure(pressures)
        parts = [_mean_parts([parts[n] for n in places]) for places in at_one]
        each = tuple(tuple(map(fmean, zip(*(each[n] for n in places), strict=True))) for places in at_one)
        points = tuple(
            (fmean(pressures[n] for n in places), math.fsum(values))
            for places, values in zip(at_one, each, strict=True)
        )
        gauge = reading.gauge if reading.transducer_pa is None else None
        return BoomCard(
            card.made, int(measured["nozzles"]), points, tuple(parts), reading.transducer, each, gauge,
            catches=tuple(map(len, at_one)),
        )  # fmt: skip
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        raise DamagedFileError(f"the catch test of {card.made:%Y-%m-%d} cannot be read: repeat it.") from None


def _is_alike(part: Component) -> bool:
    """Whether a part of a catch is alike in all catches of its test: no number of them averages it away.

    Of the gauge's reading nothing is averaged where no transducer tells the eye's habit from the rest.
    """
    return bool(part.shared) or _of_pressure(part)


def _of_pressure(part: Component) -> bool:
    return part.name.removeprefix(_CAUGHT) in OF_PRESSURE


def _at_one_pressure(pressures: Sequence[float]) -> list[list[int]]:
    """Places of catches, of rising pressures, that repeat one pressure."""
    groups: list[list[int]] = []
    for place, pressure in enumerate(pressures):
        if groups and pressure <= (1.0 + SAME_PRESSURE) * pressures[groups[-1][0]]:
            groups[-1].append(place)
        else:
            groups.append([place])
    return groups


def _mean_parts(catches: Sequence[tuple[Component, ...]]) -> tuple[Component, ...]:
    """The parts of the mean of several catches: what is alike in all of them, and the others' mean (GUM 4.2.3)."""
    by_name: dict[str, list[Component]] = {}
    for part in itertools.chain(*catches):
        by_name.setdefault(part.name, []).append(part)
    means = []
    for parts in by_name.values():
        size = math.fsum(part.standard for part in parts) if _is_alike(parts[0]) else math.hypot(*map(_standard, parts))
        means.append(replace(parts[0], standard=size / len(catches)))
    return tuple(means)


def _standard(part: Component) -> float:
    return part.standard


def as_shown(test: BoomCard, sensor: PressureSensor | None, cards: Iterable[Card]) -> BoomCard:
    """The test as the transducer would have read it, where one gauge gave both their pressures; else as it is.

    What such a gauge is off shows in the transducer's points, and is taken out of the coefficients.
    """
    fit = fit_of_one_gauge(sensor, cards, test.gauge) if sensor and test.gauge else None
    if fit is None:
        return test
    more = [math.sqrt(pressure / fit.shown_at(pressure)) for pressure, _ in test.points]
    points = tuple((at / by**2, value * by) for (at, value), by in zip(test.points, more, strict=True))
    each = tuple(tuple(value * by for value in values) for values, by in zip(test.each, more, strict=True))
    return replace(test, points=points, each=each, fit=fit)


def boom_measured(rig: Rig, test: BoomTest, reading: Reading) -> dict[str, Any]:
    """The measurements of a catch test's card: volumes as caught, so that a later test can be compared with them.

    `reading` says how well they were read, and with which jug and gauge.
    """
    return {
        "nozzles": rig.nozzles.count,
        "with": reading.vessel.name,
        "reading": {
            "tool": reading.vessel.tool or "",
            "step_mL": short(reading.vessel.step_m3 * 1e6),
            "accuracy_percent": short(100 * reading.vessel.accuracy),
            "time_s": short(reading.time_s),
        }
        | (
            {"gauge": gauge_measured(reading.gauge)}
            if reading.transducer_pa is None
            else {"transducer_kPa": short(reading.transducer_pa / 1e3), "transducer": reading.transducer}
        ),
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
            | (
                {}
                if (each := result.catch.pressures_pa) is None
                else {"pressures_kPa": [short(pa / 1e3) for pa in each]}
            )
            | ({"assumed": assumed} if (assumed := what_is_assumed(result.uncertainty)) else {})
            | ({} if result.variation is None else {"variation_percent": short(100 * result.variation)})
            for result in test.results
        ],
    }


def _catch_parts(caught: Mapping[str, Any], reading: Reading) -> tuple[Component, ...]:
    volumes = tuple(float(volume) * 1e-6 for volume in caught["volumes_mL"])
    times = tuple(map(float, caught["times_s"])) if "times_s" in caught else None
    each = tuple(float(kpa) * 1e3 for kpa in caught["pressures_kPa"]) if "pressures_kPa" in caught else None
    catch = BoomCatch(float(caught["pressure_kPa"]) * 1e3, float(caught["time_s"]), volumes, times, each)
    parts = coefficient_uncertainty(catch, reading).components
    return tuple(replace(part, name=_CAUGHT + part.name) for part in parts)


def _reading(measured: Mapping[str, Any]) -> Reading:
    """How well it was read; what is usual for jug or balance where an older card does not say.

    Older cards name no tools, so that nothing of theirs is taken for the same error as another card's.
    """
    name = measured.get("with", measured.get("vessel"))  # its name in format 1
    vessel = KITCHEN_BALANCE if name == KITCHEN_BALANCE.name else JUG
    if "reading" not in measured:
        return Reading(replace(vessel, tool=None), gauge=replace(USUAL_GAUGE, tool=None))
    said = measured["reading"]
    step, accuracy = float(said["step_mL"]) * 1e-6, float(said["accuracy_percent"]) / 100.0
    vessel = replace(vessel, step_m3=step, accuracy=accuracy, tool=said.get("tool"))
    time_s = float(said["time_s"])
    if "gauge" in said:
        gauge = said["gauge"]
        steps = float(gauge["step_kPa"]) * 1e3, float(gauge["accuracy_kPa"]) * 1e3
        return Reading(vessel, time_s, Gauge(*steps, gauge.get("tool")))
    # Older cards have one uncertainty for gauge or transducer.
    transducer_pa = float(said.get("transducer_kPa", said.get("pressure_kPa", 0.0))) * 1e3
    return Reading(vessel, time_s, transducer_pa=transducer_pa, transducer=str(said.get("transducer", "")))


@dataclass(frozen=True)
class CatchHeld:
    """The catch test that a run is held against from its first steady seconds on.

    `coefficient` is that of the whole boom, m³/s/√Pa; `relative_u` the standard uncertainty, relative, of what the
    run's meter and transducer measure over it when nothing is wrong. Nozzles that were `bad` in it, by number, are in
    the coefficient as the sound ones are.
    """

    made: datetime
    coefficient: float
    relative_u: float
    bad: tuple[int, ...] = ()

    @property
    def pair(self) -> tuple[float, float]:
        """As `Pipeline(rig, catch=…)` takes it."""
        return self.coefficient, self.relative_u

    @property
    def bad_words(self) -> str:
        """Which nozzles were bad in the catch test, so that a fault from the start may be theirs; empty for none."""
        if not self.bad:
            return ""
        names = f"Nozzle {self.bad[0]} was" if len(self.bad) == 1 else f"Nozzles {', '.join(map(str, self.bad))} were"
        return f"{names} bad in the catch test and counted as the others are: put right what is bad and catch again."


def catch_held(rig: Rig, cards: Iterable[Card]) -> CatchHeld | None:
    """What the active catch test among `cards` says of the boom of `rig`; review and live page both ask here.

    The mean over its catches, and half their spread as an uncertainty (rectangular, GUM 4.3.7), with those of the
    catch, the meter, the transducer and the meter's wandering (GUM 5.1.2). None without a catch test, with one of
    another number of nozzles, with one that cannot be read, or without a transducer: then there is nothing to hold.
    """
    cards = list(cards)
    card = active_card(cards, "boom")
    if card is None or rig.pressure is None:
        return None
    try:
        test = as_shown(boom_card(card), rig.pressure, cards)
    except DamagedFileError:  # a run must stay readable; `compare` says what is wrong with the card
        return None
    if test.nozzles != rig.nozzles.count:
        return None
    values = test.sound_coefficients(rig.nozzles.coefficient)
    mean = math.fsum(values) / len(values)
    pressure_pa = math.fsum(p for p, _ in test.points) / len(values)
    parts = [
        Component("catch: between pressures", rectangular((max(values) - min(values)) / 2.0) / mean),
        *run_over_catch(test, rig, cards, middle_of(rig.meter), pressure_pa),
    ]
    return CatchHeld(test.made, mean, combine(parts).standard, test.bad_nozzles(rig.nozzles.coefficient))


def run_over_catch(
    test: BoomCard, rig: Rig, cards: Iterable[Card], frequency_hz: float, pressure_pa: float
) -> list[Component]:
    """What the calibrations leave open of Q/√P of a run over that of the catch test, relative.

    The run counted at a pulse frequency and read a pressure, under `cards`. What both have from one jug, one gauge or
    one line of the transducer cancels (GUM 5.2.2). The rig has a transducer.
    """
    assert rig.pressure is not None
    cards = list(cards)
    nearest = test.nearest(pressure_pa)
    caught, meter = against(test.parts[nearest]), meter_parts(rig.meter, cards, frequency_hz)
    caught_pa = test.points[nearest][0]
    if test.fit is not None:
        pressure = test.fit.parts(pressure_pa, caught_pa, test.catches_at(nearest))
    elif test.transducer == line_of(rig.pressure):
        pressure = pressure_parts_of_one_line(rig.pressure, pressure_pa, caught_pa)
    else:
        return [*caught, *meter, *pressure_parts(rig.pressure, cards, pressure_pa)]
    own = tuple(part for part in caught if not _of_pressure(part))
    return [*own, *meter, *pressure]


def against(parts: Iterable[Component]) -> tuple[Component, ...]:
    """The parts of what something is divided by: their shared errors count the other way."""
    return tuple(replace(part, standard=-part.standard) for part in parts)
