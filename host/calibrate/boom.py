"""Catch test of the boom: what each nozzle gives, against the others, the rating, and the square-root law."""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from host.calibrate.square_root_law import BoomFlows, Finding, check_rating, check_two_pressures
from host.calibrate.uncertainty import (
    Combined,
    Component,
    combine,
    rectangular,
    resolution,
    sample_deviation,
    student_factor,
)
from host.calibrate.vessels import JUG, USUAL_GAUGE, Gauge, Vessel
from host.errors import BadInputError, NotNowError
from host.formulas import (
    application_rate,
    nozzle_deviation,
    orifice_coefficient,
    orifice_flow,
    pressure_for_flow,
    root_error,
    speed_for_rate,
)
from host.rig import Rig

# Over 5 % from the mean: Alberta Agriculture, "Crop protection guide", Agdex 606-1 (and common practice).
# Over 10 %: LSU AgCenter, "Sprayer Calibration"; University of Georgia, Special Bulletin 16.
FLAG_OVER = 0.05
FAULT_OVER = 0.10
# A tip that gives over 10 % more than when new is worn: Ohio State University Extension, Agronomic Crops Network,
# newsletter 2017-15, "Did you calibrate your sprayer?"; common practice of other handbooks, too.
WORN_OVER = 0.10

OK, FLAG, FAULT = "ok", "flag", "fault"
# Names of what a pressure leaves open: read by the transducer, or from a gauge.
OF_PRESSURE = BY_TRANSDUCER, GAUGE_ACCURACY, GAUGE_READING = (
    "transducer",
    "accuracy of the gauge",
    "reading of the gauge",
)
WANDER = 0.02  # standard, of a pressure read once while the nozzles are caught one after the other: common practice
_HAIR = 1e-9  # a nozzle exactly at a limit is within it, whatever the last bit says


@dataclass(frozen=True)
class Reading:
    """How well the catches of a boom are read: the vessel, the standard uncertainty of a time (s), and the gauge.

    `transducer_pa` is the standard uncertainty of a pressure that was read by the transducer in place of the gauge, and
    `transducer` names the line it was read by.
    """

    vessel: Vessel = JUG
    time_s: float = 0.2
    gauge: Gauge = USUAL_GAUGE
    transducer_pa: float | None = None
    transducer: str = ""

    def pressure_parts(self, pressure_pa: float) -> list[Component]:
        """What the pressure leaves open of a coefficient, relative; half, because the flow goes with its root."""
        half = 0.5 / pressure_pa
        if self.transducer_pa is not None:
            return [Component(BY_TRANSDUCER, -half * self.transducer_pa)]
        return [
            # A gauge that reads high makes the coefficient small.
            Component(
                GAUGE_ACCURACY,
                -rectangular(root_error(self.gauge.accuracy_pa / pressure_pa)),
                shared=self.gauge.shared,
                even=True,
            ),
            Component(GAUGE_READING, half * resolution(self.gauge.step_pa)),
        ]

    def pressure_uncertainty(self, pressure_pa: float) -> float:
        """Relative standard uncertainty of a flow by the pressure alone."""
        return combine(self.pressure_parts(pressure_pa)).standard


@dataclass(frozen=True)
class BoomCatch:
    """One catch of all nozzles: a volume of each in the order along the boom.

    `duration_s` is that of all together; where they were caught one after the other, `times_s` has that of each, and
    `pressures_pa` its pressure, where that was read for each; `pressure_pa` is then their mean.
    """

    pressure_pa: float
    duration_s: float
    volumes_m3: tuple[float, ...]
    times_s: tuple[float, ...] | None = None
    pressures_pa: tuple[float, ...] | None = None

    @property
    def wander(self) -> float:
        """How far the pressure of one nozzle may be off `pressure_pa` unseen: relative standard uncertainty."""
        return WANDER if self.times_s is not None and self.pressures_pa is None else 0.0


@dataclass(frozen=True)
class NozzleResult:
    """One nozzle at one pressure. Fractions: `deviation` from the sound nozzles' mean, `wear` against the rating.

    `expanded` is how far the deviation may be off by reading alone (95 %, over all nozzles of the test together); a
    verdict is `sure` when the deviation lies beyond its limit by more than that.
    """

    number: int
    flow_m3_s: float
    coefficient: float
    deviation: float
    wear: float
    verdict: str
    worn: bool
    expanded: float = 0.0
    sure: bool = True


@dataclass(frozen=True)
class CatchResult:
    """The boom at one pressure. `variation` is the coefficient of variation (None for a single nozzle).

    `total_coefficient` is that of the whole boom (m³/s/√Pa), `uncertainty` its own, relative. `rate_m3_m2` is at the
    speed given. `pressure_for_target_pa` would bring the target at that speed,
    `speed_for_target_m_s` at the pressure of the catch. Rate and pressure are None when no speed was given.
    """

    catch: BoomCatch
    nozzles: tuple[NozzleResult, ...]
    mean_flow_m3_s: float
    variation: float | None
    total_coefficient: float
    uncertainty: Combined
    rate_m3_m2: float | None
    pressure_for_target_pa: float | None
    speed_for_target_m_s: float


@dataclass(frozen=True)
class BoomTest:
    """All catches of one test, and what does not fit together in them."""

    results: tuple[CatchResult, ...]
    findings: tuple[Finding, ...]


def catch_test(catches: Sequence[BoomCatch], rig: Rig, speed_m_s: float | None, reading: Reading) -> BoomTest:
    """Judge a boom by one or more catches. `speed_m_s` is the spraying speed, None where it is not known.

    Raises UserError when a catch is not one of this boom.
    """
    _check(catches, rig, speed_m_s)
    results = tuple(_judge(one, rig, speed_m_s, reading) for one in catches)
    flows = [_with_uncertainty(one, reading) for one in catches]
    findings: list[Finding] = []
    for earlier, later in itertools.pairwise(sorted(flows, key=lambda one: one.pressure_pa)):
        findings += check_two_pressures(earlier, later)
    for one in flows:
        findings += check_rating(one, float(rig.nozzles.flow_m3_s(one.pressure_pa)), reading.vessel.scale_uncertainty())
    return BoomTest(results, tuple(findings))


def _check(catches: Sequence[BoomCatch], rig: Rig, speed_m_s: float | None) -> None:
    if not catches:
        raise NotNowError("no catch was given: catch every nozzle of the boom for the same time and give the volumes.")
    if speed_m_s is not None and not speed_m_s > 0:
        raise BadInputError("the spraying speed is not above zero: give the speed that you spray at, or leave it out.")
    for number, one in enumerate(catches, start=1):
        if len(one.volumes_m3) != rig.nozzles.count:
            raise BadInputError(
                f"catch {number} has {len(one.volumes_m3)} volumes and the boom {rig.nozzles.count} nozzles: "
                "give one volume for each nozzle, in order along the boom."
            )
        if not (one.pressure_pa > 0 and math.isfinite(one.pressure_pa)):
            raise BadInputError(
                f"catch {number} has no pressure above zero: read the gauge while catching and give it."
            )
        if not (one.duration_s > 0 and math.isfinite(one.duration_s)):
            raise BadInputError(f"catch {number} has a time of {one.duration_s:g} s: give how long was caught.")
        if one.times_s is not None and not (len(one.times_s) == len(one.volumes_m3) and min(one.times_s) > 0):
            raise BadInputError(f"catch {number} has not a time above zero for each nozzle: give how long was caught.")
        for nozzle, volume in enumerate(one.volumes_m3, start=1):
            if not (volume > 0 and math.isfinite(volume)):
                raise BadInputError(
                    f"catch {number}, nozzle {nozzle}, has no volume above zero: if the nozzle gave nothing it is "
                    "blocked; clean it and catch again."
                )


def _flows(one: BoomCatch) -> tuple[float, ...]:
    """Of each nozzle, at the pressure of the catch."""
    times = one.times_s or (one.duration_s,) * len(one.volumes_m3)
    pressures = one.pressures_pa or (one.pressure_pa,) * len(one.volumes_m3)
    return tuple(
        orifice_flow(orifice_coefficient(volume / time, pressure), one.pressure_pa)
        for volume, time, pressure in zip(one.volumes_m3, times, pressures, strict=True)
    )


def _read(one: BoomCatch, reading: Reading) -> tuple[float, ...]:
    """Relative standard uncertainty of each nozzle's flow by what was read of it alone: its jug, its time."""
    own = tuple(reading.vessel.reading_uncertainty() / volume for volume in one.volumes_m3)
    if one.times_s is None:
        return own
    return tuple(math.hypot(part, reading.time_s / time) for part, time in zip(own, one.times_s, strict=True))


def _with_uncertainty(one: BoomCatch, reading: Reading) -> BoomFlows:
    shared = math.hypot(reading.pressure_uncertainty(one.pressure_pa), _marks(one, reading))
    if one.times_s is None:
        shared = math.hypot(shared, reading.time_s / one.duration_s)
    return BoomFlows(one.pressure_pa, _flows(one), _read(one, reading), shared, 0.5 * one.wander)


def _marks(one: BoomCatch, reading: Reading) -> float:
    """Relative: the eye's habit at the vessel's marks, alike for all nozzles."""
    times = one.times_s or (one.duration_s,) * len(one.volumes_m3)
    marks = reading.vessel.marks_uncertainty(one.volumes_m3)
    return marks * math.fsum(1.0 / t for t in times) / math.fsum(_flows(one))


def coefficient_uncertainty(one: BoomCatch, reading: Reading) -> Combined:
    """Relative uncertainty of the whole boom's coefficient, c = ΣV/t / √P (GUM 5.1.2).

    The scale of the vessel, the eye's habit at its marks, the gauge and a time taken of all together are shared by all
    nozzles; the reading of each vessel, and the time of each where they were caught one after the other, are not.
    """
    flows = _flows(one)
    total = math.fsum(flows)
    shares = [flow / total for flow in flows]
    steps = [
        share * reading.vessel.reading_uncertainty() / volume
        for share, volume in zip(shares, one.volumes_m3, strict=True)
    ]
    if one.times_s is None:
        time = reading.time_s / one.duration_s
    else:
        time = math.hypot(*(share * reading.time_s / t for share, t in zip(shares, one.times_s, strict=True)))
    vessel = reading.vessel
    return combine(
        (
            Component(
                f"scale of the {vessel.name}",
                vessel.scale_uncertainty(),
                shared=vessel.shared("scale"),
                even=vessel.density_spread == 0.0,
            ),
            Component(
                f"marks of the {vessel.name}, read alike",
                _marks(one, reading),
                shared=vessel.shared("marks"),
                even=True,
            ),
            Component("reading", math.hypot(*steps)),
            Component("time", time),
            *(
                [Component("pressure from nozzle to nozzle", 0.5 * one.wander * math.hypot(*shares))]
                if one.wander
                else []
            ),
            *reading.pressure_parts(one.pressure_pa),
        )
    )


def sound_mean(flows: Sequence[float], rated: float) -> float:
    """Mean flow of the nozzles that are not plainly bad: what each is compared with.

    One that is blocked would pull the mean down and make its good neighbours look worn. Bad is one that is farther than
    a fault from the median; where the median itself is no nozzle's (two of them, or two halves), from the one nearest
    to the rating.
    """
    middle = statistics.median(flows)
    near = [flow for flow in flows if abs(flow / middle - 1.0) <= FAULT_OVER]
    if not near:
        middle = min(flows, key=lambda flow: abs(flow / rated - 1.0))
        near = [flow for flow in flows if abs(flow / middle - 1.0) <= FAULT_OVER]
    return math.fsum(near) / len(near)


def _judge(one: BoomCatch, rig: Rig, speed_m_s: float | None, reading: Reading) -> CatchResult:
    flows = _flows(one)
    mean = sum(flows) / len(flows)
    total = sum(flows)
    rated = float(rig.nozzles.flow_m3_s(one.pressure_pa))
    sound = sound_mean(flows, rated)
    nozzles = []
    factor = student_factor(1.0 - 0.05 / len(flows), math.inf)
    for number, (flow, read) in enumerate(zip(flows, _read(one, reading), strict=True), start=1):
        deviation, wear = nozzle_deviation(flow, sound), nozzle_deviation(flow, rated)
        over = abs(deviation) - _HAIR
        verdict = FAULT if over > FAULT_OVER else FLAG if over > FLAG_OVER else OK
        expanded = factor * math.hypot(read, 0.5 * one.wander) * math.sqrt(1.0 - 1.0 / len(flows))
        limit = {FAULT: FAULT_OVER, FLAG: FLAG_OVER, OK: 0.0}[verdict]
        nozzles.append(
            NozzleResult(
                number, flow, orifice_coefficient(flow, one.pressure_pa), deviation, wear, verdict,
                wear - _HAIR > WORN_OVER, expanded, verdict == OK or abs(deviation) - expanded > limit,
            )
        )  # fmt: skip
    coefficient = orifice_coefficient(total, one.pressure_pa)
    rate = pressure = None
    if speed_m_s is not None:
        rate = application_rate(total, speed_m_s, rig.swath_m)
        pressure = pressure_for_flow(rig.target.rate_m3_m2 * speed_m_s * rig.swath_m, coefficient)
    return CatchResult(
        catch=one,
        nozzles=tuple(nozzles),
        mean_flow_m3_s=mean,
        variation=sample_deviation(flows) / mean if len(flows) > 1 else None,
        total_coefficient=coefficient,
        uncertainty=coefficient_uncertainty(one, reading),
        rate_m3_m2=rate,
        pressure_for_target_pa=pressure,
        speed_for_target_m_s=speed_for_rate(total, rig.target.rate_m3_m2, rig.swath_m),
    )
