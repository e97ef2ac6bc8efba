"""Without a spray switch the pressure tells a fault from the end of a pass: whether it stays when the boom is shut
depends on which side of the valve it is read (a fact of the plumbing: the pump holds what is before a shut valve, and
the nozzles empty what is behind it)."""

import pytest

from host.pipeline import Fault, Pipeline
from tests.bench.bench_other import faults_of
from tests.bench.other_runs import draw, rng_for
from tests.bench.other_sprayer import Thing, make_run
from tests.host.pipeline.made import IDENTITY

PASSES = [(4.0, 30.0), (36.0, 66.0), (72.0, 110.0), (116.0, 150.0), (156.0, 180.0)]


def called(*things: Thing, **physics: object) -> list[Fault]:
    rng = rng_for("without a switch", sorted(physics.items()))
    return faults_of(make_run(draw(rng, switch="none", **physics), PASSES, list(things), rng))


@pytest.mark.parametrize("interval_s", [0.02, 0.1, 0.5])
def test_behind_the_valve_a_meter_that_falls_silent_under_pressure_is_stuck(interval_s):
    stuck = Thing("meter_stuck", 85.0, lasts_s=45.0)
    (fault,) = called(stuck, behind_valve=True, interval_s=interval_s)
    assert (fault.kind, fault.or_else) == ("meter_stuck", ())
    assert fault.sure >= 0.9
    assert fault.called_s == pytest.approx(85.0 + 2.0, abs=1.0)
    assert fault.ended_s == pytest.approx(130.0 + 1.5, abs=1.5)  # once it has turned for as long as a start takes


@pytest.mark.parametrize("interval_s", [0.05, 0.1, 0.5])
@pytest.mark.parametrize("droop", [0.1, 0.18])
def test_before_it_a_meter_that_falls_silent_is_asked_about_where_the_pressure_does_not_rise(interval_s, droop):
    stuck = Thing("meter_stuck", 122.0, lasts_s=20.0)
    (fault,) = called(stuck, interval_s=interval_s, droop=droop)
    assert (fault.kind, fault.or_else, fault.urgent) == ("meter_stuck", ("valve_shut",), False)
    assert 126.0 < fault.called_s < 134.0
    assert fault.ended_s == pytest.approx(142.0 + 1.5, abs=1.5)


def test_it_is_asked_in_the_same_moment_however_the_reports_are_cut():
    rng = rng_for("cut")
    run = make_run(draw(rng, switch="none"), PASSES, [Thing("meter_stuck", 122.0, lasts_s=20.0)], rng)
    pipeline = Pipeline(run.rig)
    for at in range(0, len(run.frames), 11):
        pipeline.push(run.frames[at : at + 11], [] if at else [IDENTITY])
    assert [fault.kind for fault in pipeline.faults()] == ["meter_stuck"]
    assert repr(pipeline.faults()) == repr(faults_of(run))


@pytest.mark.parametrize("droop", [0.1, 0.18])
def test_a_long_way_with_the_boom_shut_and_the_pump_on_is_no_fault(droop):
    assert called(Thing("hand_shut", 122.0, lasts_s=20.0), droop=droop) == []


def test_nothing_is_asked_where_turns_show_no_rise():
    assert called(Thing("meter_stuck", 122.0, lasts_s=20.0), droop=0.0, wander=0.01) == []


@pytest.mark.parametrize("physics", [{}, {"behind_valve": True}, {"behind_valve": True, "fill_s": 2.0}])
def test_ends_of_passes_are_no_fault(physics):
    assert called(Thing("let_go", 50.0, lasts_s=1.0), Thing("let_go", 90.0, lasts_s=3.0), **physics) == []


def test_a_frozen_reading_says_nothing_of_the_meter():
    faults = called(Thing("transducer_frozen", 85.0, lasts_s=45.0), behind_valve=True)
    assert [fault.kind for fault in faults if fault.called_s < 130.0] == ["transducer_frozen"]


def test_a_pump_that_was_off_is_over_when_water_flows_and_hides_nothing_after_it():
    off, clog = called(Thing("pump_off", 85.0, lasts_s=8.0), Thing("clog", 125.0))
    assert (off.kind, clog.kind) == ("pump_off", "clog")
    assert off.ended_s == pytest.approx(93.0 + 1.8, abs=1.0)
    assert clog.called_s - 125.0 < 1.0


@pytest.mark.parametrize("lag_s", [0.25, 0.45])
@pytest.mark.parametrize(("kind", "amount"), [("clog", 1.0), ("clog", 0.5), ("leak", 1.0)])
def test_a_rotor_that_runs_down_at_the_end_of_a_pass_ends_no_open_fault_and_is_none_of_its_own(kind, amount, lag_s):
    (fault,) = called(Thing(kind, 85.0, amount), lag_s=lag_s)
    assert fault.ended_s is None
    assert abs(fault.change or 0.0) > 0.03


def test_a_second_clog_in_a_later_pass_is_still_called():
    faults = called(Thing("clog", 60.0), Thing("clog", 127.0), nozzles=3)
    assert [fault.ended_s is None for fault in faults] == [False, True]
    assert faults[1].called_s - 127.0 < 2.0
