"""Is the stated ± true? Keepers with everything drawn that can go wrong calibrate; how often does ± hold the truth?

    .venv/bin/python -m tests.bench.bench_coverage [repetitions] [seed]

Each row is a kind of keeper: what they have, what they told Swardflow, what is wrong without their knowing. "covered"
of 100, with the median of the stated ± and the ± that would have covered 95 of 100 ("needed"). A row that Swardflow
cannot cover, because nobody told it, must carry a sentence: "said" is how many of 100 were told of it. One whose ± is
wider than it had to be must name what is told or assumed worse than it is: "named" is how many of 100 were told that.
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from host.calibrate.boom import BoomCatch, Reading, catch_test
from host.calibrate.budget import what_is_assumed
from host.calibrate.meter import MeterCalibration, MeterCatch, calibrate_meter
from host.calibrate.transducer import PressurePoint, calibrate_pressure
from host.calibrate.travel import calibrate_course, calibrate_wheel
from host.calibrate.uncertainty import Component, combine
from host.calibrate.vessels import JUG, KITCHEN_BALANCE, UNTOLD_WATER, Gauge, Vessel
from host.rig.model import DAY_TO_DAY, GROUND_TO_GROUND
from host.units import PSI_PA
from tests.bench.compare_keepers import print_compare
from tests.bench.coverage_rows import Draw, Row, print_rows, row_of
from tests.host.calibrate.rigs import rig

Rng = np.random.Generator
LITRE = 1e-3
LOW_HZ, HIGH_HZ = 10.0, 60.0


Case = Callable[[Rng], Draw]


def turbine(bend: float) -> Callable[[float], float]:
    """A factor that falls by `bend` towards the lowest flow."""
    return lambda hz: 450e3 * (1.0 - bend * math.exp(-(hz - LOW_HZ) / 12.0))


def hump(bend: float) -> Callable[[float], float]:
    """A factor that is highest in the middle."""

    def factor(hz: float) -> float:
        place = math.log(hz / LOW_HZ) / math.log(HIGH_HZ / LOW_HZ)
        return 450e3 * (1.0 + bend * 4.0 * place * (1.0 - place))

    return factor


def flat(_hz: float) -> float:
    """The same factor at every flow."""
    return 450e3


@dataclass(frozen=True)
class Keeper:
    """How one keeper catches: true errors of the vessel beside what was told of it."""

    told: Vessel
    accuracy: float | None = None  # the scale's true error, to either side; as told when None
    habit: bool = True  # the eye is off by up to half a step, alike in all catches
    litres: float = 2.4
    repeat: float = 0.004
    same_mark: bool = False
    same_time: bool = False  # caught for one time each: about the same amount, read where it stands
    curve: Callable[[float], float] = flat

    def meter(self, rng: Rng, flows: tuple[float, ...], catches: int) -> MeterCalibration:
        """A calibration of so many catches at each flow (Hz)."""
        accuracy = self.told.accuracy if self.accuracy is None else self.accuracy
        scale = 1.0 + rng.uniform(-accuracy, accuracy)
        habit = rng.uniform(-0.5, 0.5) * self.told.step_m3 if self.habit else 0.0
        taken = []
        amount = self.litres * LITRE * rng.uniform(0.92, 1.08)
        for hz in flows:
            for _ in range(catches):
                true = self.litres * LITRE * (1.0 if self.same_mark else rng.uniform(0.92, 1.08))
                if self.same_time:
                    true = amount * (1.0 + rng.normal(0, 0.002))
                read = round((true * scale + habit) / self.told.step_m3) * self.told.step_m3
                if self.same_mark:  # filled until the eye sees the mark
                    read = round(true / self.told.step_m3) * self.told.step_m3
                    true = (read - habit) / scale
                pulses = int(self.curve(hz) * (1.0 + rng.normal(0, self.repeat)) * true + rng.uniform())
                taken.append(MeterCatch(pulses, read, self.told, pulses / hz))
        return calibrate_meter(taken)


def of_factor(keeper: Keeper, flows: tuple[float, ...], catches: int) -> Case:
    """The factor itself, at a flow that was caught."""

    def case(rng: Rng) -> Draw:
        result = keeper.meter(rng, flows, catches)
        hz = float(rng.choice(flows))
        error = float(result.meter().pulses_per_m3(hz)) / keeper.curve(hz) - 1.0
        return Draw(
            error, result.uncertainty.expanded, bool(result.remarks), partial(what_is_assumed, result.uncertainty)
        )

    return case


def of_run(
    keeper: Keeper,
    flows: tuple[float, ...],
    catches: int,
    at: float,
    drift: float = DAY_TO_DAY,
    says: str = "third flow|again",
) -> Case:
    """The volume of a later run at a flow; `says` is what a sentence about it must hold."""

    def case(rng: Rng) -> Draw:
        result = keeper.meter(rng, flows, catches)
        true = keeper.curve(at) * (1.0 + rng.normal(0, drift))
        error = true / float(result.meter().pulses_per_m3(at)) - 1.0
        beyond = float(result.meter().beyond_caught(at))
        meter = math.hypot(float(result.meter().relative_uncertainty_at(at)), DAY_TO_DAY)
        asked = any(re.search(says, text) for text in result.remarks)
        outside = beyond > math.log(1.15)
        note = " beyond the catches" if outside else ""
        return Draw(error, 2.0 * meter, asked or outside, lambda: what_is_assumed(result.uncertainty) + note)

    return case


def of_wheel(
    passes: int, slip: float, *, tape: float | None = None, told: float = 0.005, ground: float = 0.0, magnets: int = 10
) -> Case:
    """Way per pulse, or a run's way on other ground where `ground` is more than nothing."""

    def case(rng: Rng) -> Draw:
        per_pulse = 1.2 / magnets
        off = rng.uniform(-1, 1) * (told if tape is None else tape)
        start, course = rng.uniform(), rng.uniform(58.0, 62.0)  # no course is so many whole turns
        pulses = []
        for _ in range(passes):
            way = course * (1.0 + off) * (1.0 + rng.normal(0, slip))
            pulses.append(int(way / per_pulse + (start if magnets == 1 else rng.uniform())))
        result = calibrate_wheel(course, pulses, told)
        true = per_pulse * (1.0 + rng.normal(0, ground))
        parts = [*result.uncertainty.components]
        if ground:
            parts.append(Component("ground", GROUND_TO_GROUND))
        assumed = partial(what_is_assumed, result.uncertainty)
        return Draw(result.metres_per_pulse / true - 1.0, combine(parts).expanded, bool(result.remarks), assumed)

    return case


def of_pace(passes: int, spread: float, run: int = 1) -> Case:
    """The mean pace of a run of so many passes."""

    def case(rng: Rng) -> Draw:
        course = 60.0 * (1.0 + rng.uniform(-0.002, 0.002))
        times = [course / (1.1 * (1.0 + rng.normal(0, spread))) + rng.normal(0, 0.2) for _ in range(passes)]
        result = calibrate_course(60.0, times, 0.002)
        walked = float(np.mean(1.1 * (1.0 + rng.normal(0, spread, run))))
        stated = 2.0 * result.course().uncertainty_in_run(run)
        assumed = partial(what_is_assumed, result.uncertainty)
        return Draw(result.speed_m_s / walked - 1.0, stated, bool(result.remarks), assumed)

    return case


def gauge_error(rng: Rng, psi: float, kind: str) -> Callable[[float], float]:
    """What a gauge of ± `psi` shows too much at a pressure (psi): alike everywhere, or with a part that grows."""
    offset = rng.uniform(-psi, psi)
    if kind == "offset":
        return lambda _at: offset
    gain = rng.uniform(-psi, psi) / 100.0
    return lambda at: 0.5 * offset + gain * at


def set_to(rng: Rng, shown: float, off: Callable[[float], float]) -> float:
    """The true pressure (psi) when the needle is set to a mark, by an eye that is off by up to half a psi.

    (Rounding what the gauge would show at a pressure that is exactly a mark is another thing, and nobody's: errors of
    up to 1 psi then come out as -1, 0 or 1, of which the outer ones are far too many.)
    """
    return 0.0 if shown == 0 else shown - off(shown) - rng.uniform(-0.5, 0.5)


def of_pressure(
    points: tuple[float, ...], at: tuple[float, float], psi: float, kind: str, *, told: float | None = None
) -> Case:
    """A later pressure (psi) between two bounds, by a transducer calibrated against a gauge of ± `psi`."""

    def case(rng: Rng) -> Draw:
        off = gauge_error(rng, psi, kind)
        zero, gain = rng.normal(0, 1.0), 1.0 + rng.normal(0, 0.01)

        def counts(pressure: float) -> float:
            bend = 0.3 * math.sin(pressure / 15.0)
            return 1023 * (0.1 + 0.8 * (pressure * gain + zero + bend + rng.normal(0, 0.1)) / 100.0)

        taken = [PressurePoint(shown * PSI_PA, counts(set_to(rng, shown, off))) for shown in points]
        before = rig().pressure
        assert before is not None
        result = calibrate_pressure(taken, before, 1023, Gauge(PSI_PA, (psi if told is None else told) * PSI_PA))
        true = rng.uniform(*at)
        read = float(result.sensor.pressure_pa(counts(true), 1023)) / PSI_PA
        stated = 2.0 * float(result.sensor.uncertainty_at(read * PSI_PA)) / PSI_PA
        told_of = any(re.search("[Cc]ompare the gauge|Only the zero", text) for text in result.remarks)
        assumed = partial(what_is_assumed, result.uncertainty)
        return Draw(read - true, stated, at[1] > 1.15 * max(points) or told_of, assumed)

    return case


def of_boom(
    pressure: float, psi: float, kind: str, *, step: float = 10e-6, seconds: float = 60.0, jug: float = 0.01
) -> Case:
    """The boom's coefficient."""

    def case(rng: Rng) -> Draw:
        boom = rig(4)
        off = gauge_error(rng, psi, kind)
        vessel = replace(JUG, step_m3=step, accuracy=jug)
        scale, habit = 1.0 + rng.uniform(-jug, jug), rng.uniform(-0.5, 0.5) * step
        true_pa = set_to(rng, pressure, off) * PSI_PA
        each = float(boom.nozzles.flow_m3_s(true_pa)) * (1.0 + rng.normal(0, 0.01, 4))
        true = float(np.sum(each)) / math.sqrt(true_pa)
        volumes = each * (seconds + rng.normal(0, 0.2))
        read = np.round((volumes * scale + habit) / step) * step
        reading = Reading(vessel, gauge=Gauge(PSI_PA, psi * PSI_PA))
        result = catch_test([BoomCatch(pressure * PSI_PA, seconds, tuple(read))], boom, None, reading).results[0]
        assumed = partial(what_is_assumed, result.uncertainty)
        return Draw(result.total_coefficient / true - 1.0, result.uncertainty.expanded, assumed=assumed)

    return case


FINE_JUG = replace(JUG, accuracy=0.01)
MARKS_50 = Vessel("jug", 50e-6, 0.01)
BALANCE = replace(KITCHEN_BALANCE, accuracy=0.003)


def meter_cases() -> Iterator[tuple[str, Case]]:
    """Volumes."""
    jug, one = Keeper(FINE_JUG), (20.0,)
    for n in (1, 3, 6, 12):
        yield f"factor, 10 mL jug of 1 %, n = {n}", of_factor(jug, one, n)
    for n in (3, 6, 12):
        yield f"run, drift 0.5 %, jug, n = {n}", of_run(jug, one, n, 20.0)
    balance = Keeper(BALANCE, habit=False)
    for n in (6, 12):
        yield f"run, drift 0.5 %, balance, n = {n}", of_run(balance, one, n, 20.0)
    drifting = of_run(jug, one, 6, 20.0, 0.01, says="from day to day")
    yield "run, drift 1 % (twice what is assumed), jug, n = 6", drifting
    for litres in (2.4, 1.0):
        for n in (3, 6, 12):
            keeper = Keeper(MARKS_50, litres=litres)
            yield f"run, 50 mL marks, {litres} L, n = {n}", of_run(keeper, one, n, 20.0)
    for n in (3, 6, 12):
        keeper = Keeper(MARKS_50, litres=2.4, same_mark=True)
        yield f"run, filled to the same 50 mL mark, n = {n}", of_run(keeper, one, n, 20.0)
        keeper = Keeper(MARKS_50, litres=2.4, same_time=True)
        yield f"run, caught for one time, 50 mL marks, n = {n}", of_run(keeper, one, n, 20.0)
    for true in (0.02, 0.03):
        yield f"run, jug of {true:.0%} not told, n = 6", of_run(Keeper(JUG, accuracy=true), one, 6, 20.0)
    for n in (6, 12):
        keeper = Keeper(replace(KITCHEN_BALANCE, step_m3=5e-6), accuracy=0.01, habit=False)
        yield f"run, balance off by up to 1 %, only 5 g told, n = {n}", of_run(keeper, one, n, 20.0)
    water = replace(BALANCE, density_spread=UNTOLD_WATER)
    yield "run, balance, water not told, n = 6", of_run(Keeper(water, accuracy=0.005, habit=False), one, 6, 20.0)


def curve_cases() -> Iterator[tuple[str, Case]]:
    """Factors that change with the flow."""
    for bend in (0.03, 0.06):
        for name, curve in (("turbine", turbine(bend)), ("hump", hump(bend))):
            keeper = Keeper(FINE_JUG, curve=curve)
            label = f"{name} {bend:.0%}"
            yield f"two flows x 3, {label}, run between", of_run(keeper, (12.0, 40.0), 3, 22.0)
            yield f"three flows x 3, {label}, run between", of_run(keeper, (12.0, 22.0, 40.0), 3, 16.0)
            yield f"three flows x 1, {label}, run between", of_run(keeper, (12.0, 22.0, 40.0), 1, 16.0)
            yield f"three flows x 2, {label}, at the flows", of_factor(keeper, (12.0, 22.0, 40.0), 2)
            yield f"three flows x 3, {label}, 25 % below", of_run(keeper, (14.0, 24.0, 40.0), 3, 10.5)
            yield f"one flow, {label}, run at half, n = 3", of_run(keeper, (30.0,), 3, 15.0)


def travel_cases() -> Iterator[tuple[str, Case]]:
    """Ways and paces."""
    for slip in (0.01, 0.02):
        for n in (1, 2, 3, 4):
            yield f"wheel, slip {slip:.0%}, n = {n}", of_wheel(n, slip, told=0.002)
    yield "wheel, tape to 0.5 % (told), slip 0.2 %, n = 6", of_wheel(6, 0.002)
    for n in (3, 12):
        yield f"wheel, run on ground 1 % other, n = {n}", of_wheel(n, 0.005, ground=0.01, told=0.002)
    for n in (3, 6, 12):
        yield f"wheel, one magnet, same start, n = {n}", of_wheel(n, 0.002, magnets=1, told=0.002)
    for spread in (0.01, 0.02, 0.03, 0.05):
        for n in (1, 2, 3, 4, 8):
            yield f"pace varying {spread:.0%}, one more pass, n = {n}", of_pace(n, spread)
    for spread in (0.02, 0.03):
        yield f"pace varying {spread:.0%}, run of eight passes, n = 3", of_pace(3, spread, run=8)


def pressure_cases() -> Iterator[tuple[str, Case]]:
    """Pressures and booms."""
    for psi in (1.0, 2.0, 3.0):
        for kind in ("offset", "mixed"):
            label = f"gauge {psi:.0f} psi {kind}"
            yield f"points 0 20 40 60, {label}, within", of_pressure((0, 20, 40, 60), (20, 55), psi, kind)
            yield f"points 0 15 30, {label}, run at 50-60", of_pressure((0, 15, 30), (50, 60), psi, kind)
            yield f"points 0 and 20, {label}, run at 50-60", of_pressure((0, 20), (50, 60), psi, kind)
            yield f"zero alone, {label}, at 20-55", of_pressure((0,), (20, 55), psi, kind)
            yield f"boom at 30 psi, {label}", of_boom(30.0, psi, kind)
    for psi in (2.0, 3.0):
        yield (
            f"points 0 20 40 60, gauge {psi:.0f} psi, 2 told",
            of_pressure((0, 20, 40, 60), (20, 55), psi, "offset", told=2.0),
        )
    for seconds in (60.0, 30.0):
        yield f"boom, 50 mL marks, {seconds:.0f} s", of_boom(40.0, 1.0, "offset", step=50e-6, seconds=seconds)


def main() -> None:
    """Print the table."""
    repetitions = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    print(f"{'case':62} covered   stated   needed   said   named of 100   ({repetitions} keepers each, seed {seed})")
    rows: list[Row] = []
    for part, cases in enumerate((meter_cases, curve_cases, travel_cases, pressure_cases)):
        for number, (name, case) in enumerate(cases()):
            rng = np.random.default_rng([seed, part, number])
            draws = [case(rng) for _ in range(repetitions)]
            error = np.abs([draw.error for draw in draws])
            stated = np.array([draw.expanded for draw in draws])
            per = 1.0 if part == 3 and not name.startswith("boom") else 100.0
            rows.append(row := row_of(name, draws))
            print(
                f"{name:62} {row.covered:6.1f} {per * np.median(stated):9.2f} {per * np.quantile(error, 0.95):8.2f}"
                f" {100 * np.mean([draw.said for draw in draws]):6.0f}"
                f" {'' if row.named is None else f'{row.named:7.0f}'}",
                flush=True,
            )
    print_rows(rows)
    print_compare(repetitions, seed)


if __name__ == "__main__":
    main()
