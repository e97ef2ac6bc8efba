"""One more reading that lies where the calibration already has it never widens a ±: every kind, over keepers drawn."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from host.calibrate.meter import MeterCatch, calibrate_meter
from host.calibrate.transducer import PressurePoint, calibrate_pressure
from host.calibrate.travel import calibrate_course, calibrate_wheel
from host.calibrate.uncertainty import combine
from host.calibrate.vessels import JUG, KITCHEN_BALANCE, TANK, Gauge
from host.units import PSI_PA
from tests.host.calibrate.rigs import rig

SEEDS = range(30)
# A mean of two jugs is weighed by its variance, not by its ±, so that its ± may grow by some thousandths.
HAIR = 1.01


@pytest.mark.parametrize("seed", SEEDS)
def test_a_point_of_the_transducer(seed):
    rng = np.random.default_rng([seed, 1])
    gauge = Gauge(rng.choice([0.1, 0.5, 1, 2]) * PSI_PA, rng.choice([0.1, 0.5, 1, 2, 3]) * PSI_PA)
    top, off = rng.choice([15.0, 30, 40, 60]), rng.uniform(-1, 1) * gauge.accuracy_pa / PSI_PA
    marks = [0.0] * rng.integers(1, 3) + [top, *(rng.uniform(0.3, 1.0, rng.integers(0, 3)) * top)]
    noise = rng.choice([0.0, 0.1, 0.3])
    points = [
        PressurePoint(mark * PSI_PA, 1023 * (0.1 + 0.8 * (mark - (off if mark else 0.0) + rng.normal(0, noise)) / 100))
        for mark in marks
    ]
    before = calibrate_pressure(points, rig().pressure, 1023, gauge)
    mark, line = rng.choice([0.0, rng.uniform(0.2, 1.0) * top]) * PSI_PA, before.sensor
    true = mark - (before.line.gauge_pa if mark else 0.0)
    per_pa = (line.high_fraction - line.low_fraction) / (line.high_pa - line.low_pa)
    more = PressurePoint(mark, 1023 * (line.low_fraction + (true - line.low_pa) * per_pa))
    after = calibrate_pressure([*points, more], rig().pressure, 1023, gauge)
    assert after.uncertainty.expanded <= before.uncertainty.expanded
    for share in (0.3, 0.6, 1.0, 1.5):
        at = share * top * PSI_PA
        assert combine(after.line.line_parts(at)).expanded <= combine(before.line.line_parts(at)).expanded
        assert after.sensor.uncertainty_at(at) <= before.sensor.uncertainty_at(at)


def test_a_third_point_between_two_makes_the_transducer_surer():
    """0 and 40 psi by a gauge of 2 psi; equal weights of the points made 2.28 → 2.53 psi of it."""
    two, three = (
        calibrate_pressure(
            [PressurePoint(mark * PSI_PA, 1023 * (0.1 + 0.008 * mark)) for mark in marks],
            rig().pressure,
            1023,
            Gauge(PSI_PA, 2 * PSI_PA),
        ).uncertainty.expanded
        for marks in ((0, 40), (0, 20, 40))
    )
    assert three < 0.97 * two


@pytest.mark.parametrize("seed", SEEDS)
def test_a_catch_of_the_meter_at_a_flow_on_the_curve_or_between(seed):
    rng = np.random.default_rng([seed, 2])
    jugs = [JUG, replace(JUG, accuracy=0.01, tool="fine"), KITCHEN_BALANCE, TANK]
    jugs = [jugs[n] for n in rng.choice(len(jugs), rng.integers(1, 3), replace=False)]
    flows = [[20.0], [12.0, 40.0], [12.0, 22.0, 40.0]][rng.integers(3)]
    bend, noise = rng.choice([0.0, 0.01, 0.03, 0.06]), rng.choice([0.001, 0.004])

    def drawn(hz, jug):
        volume = 2.4e-3 * rng.uniform(0.9, 1.1) * (20 if jug is TANK else 1)
        factor = 450e3 * (1.0 - bend * math.exp(-(hz - 10) / 12)) * (1.0 + rng.normal(0, noise))
        return MeterCatch(round(factor * volume), volume, jug, round(factor * volume) / hz)

    catches = [drawn(float(rng.choice(flows)), jugs[rng.integers(len(jugs))]) for _ in range(rng.integers(1, 9))]
    before = calibrate_meter(catches)
    hz, like = float(rng.choice([12.0, 17.0, 22.0, 40.0])), drawn(20.0, jugs[0])
    factor = float(before.meter().pulses_per_m3(hz))
    more = replace(like, volume_m3=like.pulses / factor, duration_s=like.pulses / hz)
    after = calibrate_meter([*catches, more])
    assert after.uncertainty.expanded <= HAIR * before.uncertainty.expanded
    for at in (12.0, 20.0, 40.0):
        assert after.meter().relative_uncertainty_at(at) <= HAIR * before.meter().relative_uncertainty_at(at)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_pass_of_wheel_and_walk(seed):
    rng = np.random.default_rng([seed, 3])
    count, spread = rng.integers(1, 10), rng.choice([0.0, 0.005, 0.02, 0.05])
    pulses = [int(pulse) for pulse in 500 * (1.0 + rng.normal(0, spread, count))]
    mean = sum(pulses) / count
    pulses = [pulse * int(count) for pulse in pulses]  # so that their mean is a number of pulses
    before, after = calibrate_wheel(60.0, pulses), calibrate_wheel(60.0, [*pulses, round(mean * count)])
    assert after.uncertainty.expanded <= before.uncertainty.expanded
    times = list(50.0 * (1.0 + rng.normal(0, spread, count)))
    before, after = calibrate_course(60.0, times), calibrate_course(60.0, [*times, sum(times) / count])
    assert after.uncertainty.expanded <= before.uncertainty.expanded
    assert after.mean.expanded <= before.mean.expanded
