"""The pressure says more than c alone: an empty tank is no clog, a slow fall is told from the pump's shaking.

A clogged nozzle raises the pressure of a small bypass regulator, an empty tank lets it go (facts of the trade: common
practice).
"""

import numpy as np
import pytest

from host.pipeline.faults.causes import Verdict
from host.pipeline.faults.causes.supply import fallen
from host.pipeline.faults.open_fault import OpenFault
from host.pipeline.faults.tuning import TUNING
from host.pipeline.faults.usual import UsualPressure
from tests.bench.bench_other import faults_of
from tests.bench.other_runs import draw, fault_run, rng_for
from tests.bench.other_sprayer import Thing, make_run


def test_a_fall_of_c_with_the_pressure_is_called_by_the_pressure():
    assert fallen(0.05, True) is None
    assert fallen(-0.1, False) is None
    assert fallen(-1.0, False).kind == "pressure_low"
    assert fallen(-1.0, True).kind == "tank_empty"


@pytest.mark.parametrize("kind", ["air", "pressure_low", "pump_off", "valve_shut", "clog"])
def test_an_empty_tank_stays_one_whatever_it_looks_like_next(kind):
    fault = OpenFault(1, "tank_empty", 0.0, 1.0, 0.0)
    fault.take_over(Verdict(kind), 2.0)
    assert fault.fault(10.0, 3).kind == "tank_empty"
    fault.take_over(Verdict("battery"), 3.0)
    assert fault.fault(10.0, 3).kind == "battery"


@pytest.mark.parametrize(("physics", "seed"), [({"behind_valve": True}, 0), ({"switch": "none"}, 4)])
def test_an_empty_tank_is_one_fault_and_never_said_to_be_a_clog(physics, seed):
    one = fault_run(physics, 4_100_000 + seed, "tank_empty")
    (fault,) = (fault for fault in faults_of(one.run) if fault.called_s > one.at_s - 0.2)
    assert fault.kind == "tank_empty"
    assert fault.called_s - one.at_s < 3.0


@pytest.mark.parametrize(("switch", "seed", "within_s"), [({}, 4_200_003, 2.5), ({"switch": "none"}, 4_300_000, 5.5)])
def test_an_empty_tank_is_called_when_the_flow_only_stops_and_starts(switch, seed, within_s):
    # About 4 psi and 5 pulses a second: the flow is never steady for longer than a second or two.
    one = fault_run({"set_psi": 22.0, **switch}, seed, "tank_empty")
    (fault,) = (fault for fault in faults_of(one.run) if fault.called_s > one.at_s - 0.2)
    assert fault.kind == "tank_empty"
    assert fault.called_s - one.at_s < within_s


def test_a_hand_on_the_trigger_behind_a_boom_that_fills_slowly_is_no_low_pressure():
    rng = rng_for("trigger", 7)
    make = draw(rng, switch="none", behind_valve=True, fill_s=2.0, lag_s=0.45)
    let_go = [Thing("let_go", at, lasts_s=0.5) for at in (30.0, 32.0, 33.5, 36.0, 50.0, 51.5, 53.0)]
    faults = faults_of(make_run(make, [(4.0, 25.0), (29.0, 60.0)], let_go, rng))
    assert "pressure_low" not in [fault.kind for fault in faults]


@pytest.mark.parametrize("interval_s", [0.02, 0.05, 0.1, 0.25, 1.0])
def test_shaking_hides_no_fall_of_a_fifth_and_is_none(interval_s):
    now_s = np.arange(interval_s, 40.0, interval_s)
    shaken = 1.0 + 0.06 * np.sin(2.0 * np.pi * 1.7 * now_s)
    for share, falls in ((0.88, False), (0.77, True)):
        pressure = 3e5 * shaken * np.where(now_s > 20.0, share, 1.0)
        usual, mean = UsualPressure().push(now_s, pressure, np.ones(len(now_s), dtype=bool))
        low = mean < TUNING.down_pressure_share * usual
        assert low[now_s > 30.0].all() if falls else not low.any()


@pytest.mark.parametrize("interval_s", [0.1, 0.5, 1.0])
def test_a_strainer_that_closes_in_minutes_is_no_regulator_however_seldom_reports_come(interval_s):
    rng = rng_for("slow strainer", 3)
    make = draw(rng, interval_s=interval_s, pump_reserve=1.05, wander=0.01, droop=0.05)
    passes = [(4.35 + 30.2 * n, 28.6 + 30.2 * n) for n in range(9)]  # shut in the middle of a report
    run = make_run(make, passes, [Thing("strainer", 40.0, 0.5, over_s=300.0)], rng)
    assert [fault.kind for fault in faults_of(run)] == ["supply_short"]


def test_in_quick_reports_a_pumps_strokes_are_no_air():
    # 30 strokes a second of ±40 %: a report every 20 ms shows each of them (our own figures).
    rng = rng_for("strokes")
    run = make_run(draw(rng, interval_s=0.02, pulsation=0.4), [(4.0, 24.0)], [], rng)
    assert [fault.kind for fault in faults_of(run)] == []


def test_air_is_found_in_quick_reports_too():
    one = fault_run({"interval_s": 0.02}, 5, "air", amount=0.6)
    assert [fault.kind for fault in faults_of(one.run) if fault.urgent] == ["air"]
