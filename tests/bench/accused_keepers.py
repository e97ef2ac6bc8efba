"""Good sets that are accused: catches, nozzles and passes of keepers drawn as they may be, nothing wrong with any.

    .venv/bin/python -m tests.bench.accused_keepers [repetitions] [seed]

Unlike the rows of `bench_coverage`, each keeper has tools, habits and scatter of their own, drawn anew.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from host.calibrate.boom import BoomCatch, BoomTest, Reading, catch_test
from host.calibrate.meter import MeterCatch, calibrate_meter
from host.calibrate.travel import calibrate_wheel
from host.calibrate.vessels import JUG, KITCHEN_BALANCE, Gauge
from host.units import PSI_PA
from tests.host.calibrate.rigs import rig

Rng = np.random.Generator


def an_outlier(rng: Rng) -> bool:
    """Two to six catches at one to three flows, by jug or balance, with a meter that repeats to 0.2 to 1 %."""
    vessel = [KITCHEN_BALANCE, *(replace(JUG, step_m3=ml * 1e-6) for ml in (10, 20, 50))][rng.integers(4)]
    repeat, habit = rng.uniform(0.002, 0.01), rng.uniform(-0.5, 0.5) * vessel.step_m3
    litres, same_mark = rng.uniform(1.0, 5.0), rng.uniform() < 0.3
    catches = []
    for hz in rng.choice([12.0, 20.0, 40.0], rng.integers(1, 4), replace=False):
        for _ in range(rng.integers(2, 7)):
            true = litres * 1e-3 * rng.uniform(0.9, 1.1)
            read = round((litres * 1e-3 if same_mark else true + habit) / vessel.step_m3) * vessel.step_m3
            true = read - habit if same_mark else true
            pulses = int(450e3 * (1.0 + rng.normal(0, repeat)) * true + rng.uniform())
            catches.append(MeterCatch(pulses, read, vessel, pulses / hz))
    return bool(calibrate_meter(catches).outliers)


def a_boom(rng: Rng, *, by_board: bool, wander: float) -> BoomTest:
    """Two pressures, nozzle after nozzle, for half a minute to two; the pressure wanders by as much (standard)."""
    nozzles = int(rng.integers(3, 9))
    boom, psi = rig(nozzles), rng.choice([15.0, 20.0, 25.0, 30.0])
    vessel, off = replace(JUG, step_m3=rng.choice([10e-6, 20e-6, 50e-6])), rng.uniform(-1, 1)
    habit, scale = rng.uniform(-0.5, 0.5) * vessel.step_m3, 1.0 + rng.uniform(-0.02, 0.02)
    gauge = Gauge(PSI_PA, rng.choice([1.0, 2.0, 3.0]) * PSI_PA)
    each = 1.0 + rng.normal(0, 0.015, nozzles)
    caught = []
    for mark in (psi, psi + rng.choice([10.0, 15.0, 20.0])):
        middle = (mark - off * gauge.accuracy_pa / PSI_PA - rng.uniform(-0.5, 0.5)) * PSI_PA
        true = middle * (1.0 + rng.normal(0, wander, nozzles))
        times = rng.uniform(30.0, 120.0, nozzles)
        volumes = boom.nozzles.flow_m3_s(true) * each * (times + rng.normal(0, 0.2, nozzles))
        read = np.round((volumes * scale + habit) / vessel.step_m3) * vessel.step_m3
        shown = tuple(map(float, true)) if by_board else None
        at = float(np.mean(true)) if by_board else mark * PSI_PA
        caught.append(BoomCatch(at, float(np.mean(times)), tuple(read), tuple(times), shown))
    reading = Reading(vessel, gauge=gauge)
    if by_board:
        reading = replace(reading, transducer_pa=0.3 * PSI_PA, transducer="line")
    return catch_test(caught, boom, None, reading)


def a_nozzle(rng: Rng, *, by_board: bool, wander: float) -> bool:
    """A nozzle named by the square-root law, or said for sure to be off the others."""
    test = a_boom(rng, by_board=by_board, wander=wander)
    law = any(found.nozzle is not None for found in test.findings)
    return law or any(one.verdict != "ok" and one.sure for result in test.results for one in result.nozzles)


def the_boom(rng: Rng, *, by_board: bool, wander: float) -> bool:
    """The boom as a whole, by the square-root law."""
    test = a_boom(rng, by_board=by_board, wander=wander)
    return any(found.nozzle is None and found.kind == "square-root law" for found in test.findings)


def a_pass(rng: Rng, *, slip: tuple[float, float] = (0.002, 0.02)) -> bool:
    """Two to eight passes of a wheel that slips by 0.2 to 2 % from pass to pass, or by as much as given."""
    pulses = 500 * (1.0 + rng.normal(0, rng.uniform(*slip), rng.integers(2, 9)))
    return any("the wheel slipped" in remark for remark in calibrate_wheel(60.0, [int(p) for p in pulses]).remarks)


KEEPERS: dict[str, Callable[[Rng], bool]] = {
    "a catch of the meter": an_outlier,
    **{
        f"{what}, {by}, wander {wander:.0%}": lambda rng, test=test, board=board, wander=wander: test(
            rng, by_board=board, wander=wander
        )
        for what, test in (("a nozzle", a_nozzle), ("the boom", the_boom))
        for by, board in (("by the gauge", False), ("by the board", True))
        for wander in (0.0, 0.02, 0.03)
    },
    "a pass of the wheel, slip 0.2 to 2 %": a_pass,
    "a pass of the wheel, slip 2 %": lambda rng: a_pass(rng, slip=(0.02, 0.02)),
}


def accused(name: str, repetitions: int, seed: int) -> float:
    """How many of 100 good sets are accused."""
    rng = np.random.default_rng([seed, *name.encode()])
    return 100 * math.fsum(KEEPERS[name](rng) for _ in range(repetitions)) / repetitions


def main() -> None:
    """Print them all."""
    repetitions = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    print(f"accused, of 100 good sets ({repetitions} keepers each, seed {seed})")
    for name in KEEPERS:
        print(f"  {name:40} {accused(name, repetitions, seed):5.1f}")


if __name__ == "__main__":
    main()
