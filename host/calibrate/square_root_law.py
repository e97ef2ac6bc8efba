"""Do the catches agree with Q = k·√P, and with the nozzle's table? If not: what to suspect."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from host.calibrate.uncertainty import Component, combine, pooled, rectangular, sample_deviation, student_factor
from host.units import format_value

COVERAGE = 2.0  # a departure counts from twice its standard uncertainty on
RESTLESS = 0.01  # standard: what a sound nozzle does by itself from catch to catch; assumed, common practice
RATING_TOLERANCE = 0.05  # a new tip may differ this much from its table, to either side: common practice
SAME_PRESSURE = 0.03  # pressures closer than this (ratio) are a repeat, not two pressures

# What to suspect, by what was seen. Common practice.
_ROSE_TOO_MUCH = (
    "the gauge (reads too low at the higher or too high at the lower pressure)",
    "the timing of a catch",
    "the regulator (moved between reading and catching)",
    "a strainer that was partly blocked in the first catch",
)
_ROSE_TOO_LITTLE = (
    "a strainer or hose between gauge and boom that chokes the flow",
    "the gauge (reads too high at the higher or too low at the lower pressure)",
    "the timing of a catch",
    "the regulator or the pump (did not hold the pressure while catching)",
)
_ONE_NOZZLE = ("dirt that moved in its tip or tip strainer", "the reading of its jug", "a loose or damaged tip")
_NOT_REPEATED = ("the timing of a catch", "the reading of the jugs", "the regulator (the pressure moved)")
_ABOVE_RATING = ("worn tips", "tips of another size than the rig file says", "the gauge (reads too low)", "the timing")
_BELOW_RATING = (
    "a blocked strainer or tips",
    "the gauge (reads too high, or sits before a long hose)",
    "tips of another size than the rig file says",
    "the timing",
)


@dataclass(frozen=True)
class BoomFlows:
    """Flows (m³/s) of all nozzles at one pressure. Relative standard uncertainties: own of each flow, shared by all.

    The shared one holds timing and pressure, the latter halved because Q goes with √P; `wander` is what a pressure read
    once for all nozzles is assumed to do to each of them besides.
    """

    pressure_pa: float
    flows_m3_s: tuple[float, ...]
    own: tuple[float, ...]
    shared: float
    wander: float = 0.0


@dataclass(frozen=True)
class Finding:
    """Something that does not fit. Changes and `expanded`, what may lie between them, are fractions.

    A nozzle's change is held against that of the middle one of all. `nozzle` is None for the boom as a whole; for a
    rating `low_pa` and `high_pa` are the same.
    """

    kind: Literal["square-root law", "rating"]
    nozzle: int | None
    nozzles: int
    low_pa: float
    high_pa: float
    change: float
    expected: float
    expanded: float
    suspects: tuple[str, ...]

    def sentence(self, system: str) -> str:
        """In plain words, pressures in the units of `system`."""
        suspects = "; ".join(self.suspects)
        low, high = (format_value(pressure, "pressure", system) for pressure in (self.low_pa, self.high_pa))
        if self.kind == "rating":
            return (
                f"At {low} the nozzles give {100 * self.change:+.1f} % against their rating "
                f"(known to ±{100 * self.expanded:.1f} %). Suspect: {suspects}."
            )
        who = "The flow" if self.nozzle is None else f"Nozzle {self.nozzle}: the flow"
        if self.high_pa / self.low_pa < 1.0 + SAME_PRESSURE:
            should = self._others() or f"where it should be the same (±{100 * self.expanded:.1f} %)"
            return (
                f"{who} changed by {100 * self.change:+.1f} % between two catches at about {low}, {should}. "
                f"Suspect: {suspects}."
            )
        one = "one sound nozzle" if self.nozzle or self.nozzles == 1 else "sound nozzles"
        allows = f"where the square-root law allows {100 * self.expected:+.1f} % (±{100 * self.expanded:.1f} %)"
        return (
            f"{who} changed by {100 * self.change:+.1f} % from {low} to {high}, {self._others() or allows}: "
            f"the pair cannot come from {one}. Suspect: {suspects}."
        )

    def _others(self) -> str:
        """What a nozzle is held against; empty for the boom, which is held against the law."""
        if self.nozzle is None:
            return ""
        return f"that of the others by {100 * self.expected:+.1f} % (±{100 * self.expanded:.1f} %)"


def check_two_pressures(low: BoomFlows, high: BoomFlows) -> list[Finding]:
    """Hold the flows at two pressures (the lower first) against Q = k·√P: the boom as a whole, then each nozzle."""
    expected = math.sqrt(high.pressure_pa / low.pressure_pa)
    departures = [math.log(b / a / expected) for a, b in zip(low.flows_m3_s, high.flows_m3_s, strict=True)]
    own = [math.hypot(a, b) for a, b in zip(low.own, high.own, strict=True)]
    shared = math.hypot(low.shared, high.shared)
    count = len(departures)
    # The median: one odd nozzle shall not make the whole boom look odd.
    middle = statistics.median(departures)
    repeat = high.pressure_pa / low.pressure_pa < 1.0 + SAME_PRESSURE

    def finding(
        nozzle: int | None, departure: float, against: float, allowed: float, suspects: tuple[str, ...]
    ) -> Finding:
        """`departure` from the law, held against another one; they may lie `allowed` apart."""
        should = expected * math.exp(against)
        return Finding(
            "square-root law", nozzle, count, low.pressure_pa, high.pressure_pa,
            expected * math.exp(departure) - 1.0, should - 1.0, allowed * should, suspects,
        )  # fmt: skip

    found = []
    wander = math.hypot(low.wander, high.wander)
    of_boom = math.hypot(shared, statistics.fmean(math.hypot(read, wander) for read in own) / math.sqrt(count))
    if abs(middle) > COVERAGE * of_boom:
        suspects = _NOT_REPEATED if repeat else _ROSE_TOO_MUCH if middle > 0 else _ROSE_TOO_LITTLE
        found.append(finding(None, middle, 0.0, COVERAGE * of_boom, suspects))
    if count > 2:
        for number, (departure, read) in enumerate(zip(departures, own, strict=True), start=1):
            rest = [*departures[: number - 1], *departures[number:]]
            allowed = _one_may_lie_apart(rest, read, math.hypot(wander, RESTLESS))
            if abs(departure - middle) > allowed:
                found.append(finding(number, departure, middle, allowed, _ONE_NOZZLE))
    return found


def _one_may_lie_apart(rest: Sequence[float], read: float, assumed: float) -> float:
    """How far a sound nozzle may lie from its neighbours, which shared pressure and time with it.

    The reading is known; what nozzles and a wandering pressure do beside it is assumed, and pooled with what the `rest`
    show of it (GUM 4.2.4), with its degrees of freedom. One good boom in twenty may be accused, not one good nozzle
    (Bonferroni).
    """
    seen = math.sqrt(max(sample_deviation(rest) ** 2 - read**2, 0.0))
    scatter, degrees = pooled(seen, len(rest) - 1, assumed)
    whole = combine([Component("reading", read), Component("scatter", scatter, degrees)])
    count = len(rest) + 1
    return student_factor(1.0 - 0.05 / count, whole.degrees) * whole.standard * math.sqrt(1.0 + 1.0 / count)


def check_rating(flows: BoomFlows, rated_m3_s: float, scale_uncertainty: float) -> list[Finding]:
    """Hold the middle nozzle at one pressure against the rated flow of the tips; `scale_uncertainty` of the vessel."""
    change = statistics.median(flows.flows_m3_s) / rated_m3_s - 1.0
    own = statistics.fmean(math.hypot(read, flows.wander) for read in flows.own) / math.sqrt(len(flows.own))
    standard = math.hypot(own, flows.shared, scale_uncertainty, rectangular(RATING_TOLERANCE))
    if abs(change) <= COVERAGE * standard:
        return []
    suspects = _ABOVE_RATING if change > 0 else _BELOW_RATING
    pressure = flows.pressure_pa
    return [Finding("rating", None, len(flows.own), pressure, pressure, change, 0.0, COVERAGE * standard, suspects)]
