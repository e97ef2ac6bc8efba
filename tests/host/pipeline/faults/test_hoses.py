"""A knob is turned while it sprays, and the hoses give: what they take in meanwhile is no change of c.

20 mL in hoses and trapped air at the usual pressure, at a boom flow of 45 mL/s, are 0.45 s of the flow for each rise of
ln P by one (the volume of trapped air goes with 1/P: Boyle's law). The sprayer is the bench's other one.
"""

import pytest

from tests.bench.bench_other import faults_of
from tests.bench.other_runs import draw, rng_for
from tests.bench.other_sprayer import Thing, make_run

PASSES = [(4.0, 34.0), (40.0, 75.0), (81.0, 115.0)]
TURN_S, TAKES_S = 55.0, 3.0


def told(seed, *things, behind=False):
    rng = rng_for("hoses", seed)
    make = draw(rng, nozzles=3, nozzle_gpm=0.25, per_litre=2000.0, wander=0.005, hoses_s=0.45, behind_valve=behind)
    return faults_of(make_run(make, PASSES, list(things), rng))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("by", [-0.18, 0.18])
def test_a_turn_of_the_knob_is_no_fault_of_the_boom(by, seed):
    assert not [fault.kind for fault in told(seed, Thing("knob", TURN_S, by, over_s=TAKES_S)) if fault.urgent]


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("by", [-0.18, 0.18])
def test_a_clog_in_the_same_moment_is_still_called(by, seed):
    faults = told(seed, Thing("knob", TURN_S, by, over_s=TAKES_S), Thing("clog", TURN_S + 1.0, 0.5))
    assert faults[0].kind in ("clog", "meter_low")
    assert faults[0].heard_s < TURN_S + TAKES_S + 2.0
    assert faults[0].nozzles == pytest.approx(0.5, abs=0.1)
