"""Half of the boom shut by a section valve between two passes: nozzles that give nothing, no fault of the meter.

That a boom's sections have valves of their own, shut at a turn for a narrower strip, is common practice.
"""

import math

import pytest

from host.pipeline.faults.causes.boom import judge
from host.pipeline.faults.causes.pulses import After, Before, judge_roughness
from host.pipeline.faults.causes.sections import whole_nozzles
from tests.bench.bench_other import faults_of
from tests.bench.other_runs import draw, rng_for
from tests.bench.other_sprayer import Thing, make_run

PASSES = [(4.0, 30.0), (36.0, 56.0), (62.0, 80.0), (86.0, 112.0)]
EVEN = {"orifice": 1.0, "meter": 1.0, "transducer": 0.0}


@pytest.mark.parametrize(
    ("interval_s", "nozzles", "share"), [(0.05, 4, 0.5), (0.1, 6, 1 / 3), (0.25, 5, 0.4), (1.0, 4, 0.5)]
)
def test_a_section_that_is_shut_for_two_passes_is_one_fault_by_that_name(interval_s, nozzles, share):
    rng = rng_for("section", nozzles)
    shut = Thing("section", 33.0, share, lasts_s=50.0)
    run = make_run(draw(rng, nozzles=nozzles, nozzle_gpm=0.3, interval_s=interval_s, fill_s=0.2), PASSES, [shut], rng)
    (fault,) = faults_of(run)
    assert fault.kind == "section_shut"
    assert f"no flow from {nozzles * share:.0f} of {nozzles} nozzles" in fault.words
    assert fault.called_s < 42.0
    assert 83.0 < fault.ended_s < 112.0


def test_it_is_one_only_at_once_by_whole_nozzles_and_unless_the_transducer_has_moved():
    half = math.log(0.5)
    assert judge(EVEN, half, True, 4, while_shut=True).kind == "section_shut"
    assert judge(EVEN, half, True, 4).kind == "section_shut"
    assert judge(EVEN, half, False, 4).kind == "clog"
    assert judge(EVEN, math.log(0.46), True, 4).kind == "clog"
    # With the pressure as it was, a meter that reads low by just that is about as likely, and nothing is sure.
    doubtful = judge({**EVEN, "meter": 20.0}, half, True, 4)
    assert doubtful.kind == "meter_low" and "section_shut" in doubtful.or_else and doubtful.sure < 0.9
    assert judge({**EVEN, "meter": 2.0}, math.log(0.46), True, 4).kind == "meter_low"
    assert judge(EVEN, half, True, 3, while_shut=True).kind == "clog"
    assert judge({**EVEN, "transducer": 9.0}, half, True, 4, while_shut=True).kind == "transducer_drift"


@pytest.mark.parametrize(
    ("share", "nozzles", "whole"),
    [(0.5, 4, True), (0.455, 4, False), (0.25, 4, False), (0.75, 4, True), (0.99, 4, False), (0.02, 2, False)],
)
def test_whole_nozzles_are_several_and_not_all(share, nozzles, whole):
    assert whole_nozzles(math.log(1.0 - share), nozzles) is whole
    assert not whole_nozzles(math.log(1.0 + share), nozzles)


@pytest.mark.parametrize(("nozzles", "left"), [(4, 2), (6, 3), (7, 3), (8, 4), (8, 6)])
@pytest.mark.parametrize("takes", [0.0, 0.03, 0.1])
def test_a_valve_behind_the_transducer_takes_less_of_the_pressure_from_half_a_boom(nozzles, left, takes):
    """q = n·√(P - k·q²), solved for q (orifice law for nozzles and for the valve: Bernoulli)."""

    def flow(spraying):
        k = takes / nozzles**2
        return spraying / math.sqrt(1.0 + k * spraying**2)

    step = math.log(flow(left) / flow(nozzles))
    assert whole_nozzles(step, nozzles)
    assert judge(EVEN, step, True, nozzles).kind == "section_shut"


def test_poles_that_another_flow_shows_are_no_lost_pulses():
    before = Before(0.0, 0.001, 0.0036)
    # 3.2 pulses in a report before and 1.6 after; a quarter of the pulses lost makes changes of about one pulse.
    assert judge_roughness(before, After(math.log(0.5), 0.02, 0.016, 0.0015, 1.0, 0.0181, 1.6)) is None
    assert judge_roughness(before, After(math.log(0.75), 0.0, 0.016, 0.001, 1.0, 0.3, 2.4)).kind == "meter_missing"
