"""A fault that is open, rightly or not, must not hide another. Runs of tests/bench/other_sprayer.py."""

import pytest

from tests.bench.bench_other import faults_of
from tests.bench.other_runs import draw, fault_run, rng_for
from tests.bench.other_sprayer import Thing, make_run


def test_uneven_poles_that_beat_with_the_reports_are_no_lost_pulses_and_hide_no_clog():
    one = fault_run({"nozzles": 3, "nozzle_gpm": 0.3, "per_litre": 450.0}, 40_200_033, "clog", amount=0.5)
    (fault,) = faults_of(one.run)
    assert fault.kind == "clog"
    assert one.at_s < fault.called_s < one.at_s + 1.0


@pytest.mark.parametrize("seed", [3, 7, 10])
def test_a_meter_that_loses_pulses_does_not_hide_a_clog(seed):
    rng = rng_for("hidden", seed)
    passes = [(4.0, 60.0), (66.0, 120.0), (126.0, 170.0), (176.0, 190.0)]
    things = [Thing("meter_missing", 80.0, 0.1), Thing("clog", 140.0, 1.0)]
    faults = faults_of(make_run(draw(rng, nozzles=3, nozzle_gpm=0.3), passes, things, rng))
    assert [fault.kind for fault in faults] == ["meter_missing", "clog"]
    meter, clog = faults
    assert 140.0 < clog.called_s < 145.0
    assert meter.ended_s < clog.called_s
    assert clog.nozzles == pytest.approx(1.0, abs=0.25)


@pytest.mark.parametrize("seed", range(3))
def test_a_bubble_in_the_moment_of_a_clog_does_not_hide_it(seed):
    """The meter loses most of its pulses for a fifth of a second while a nozzle clogs."""
    rng = rng_for("bubble and clog", seed)
    make = draw(rng, nozzles=5, nozzle_gpm=0.2, per_litre=1800.0, wander=0.005)
    things = [Thing("clog", 54.0, 0.5), Thing("dip", 54.35, 0.8, 0.2)]
    faults = faults_of(make_run(make, [(4.0, 34.0), (40.0, 90.0)], things, rng))
    assert faults and faults[0].kind in ("clog", "meter_low")
    assert faults[0].called_s < 57.0
