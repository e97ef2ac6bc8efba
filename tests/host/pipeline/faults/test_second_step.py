"""A second step, the other way, while a fault is open: only a return to the healthy level ends what was wrong.

A tip that flies off a clogged nozzle, a nozzle that clogs beside a leak, a clog that is half cleaned (facts of the
trade: common practice); the sprayer is the bench's other one.
"""

import numpy as np
import pytest

from host.pipeline.faults.ending import Ending, ending
from tests.bench.bench_other import faults_of
from tests.bench.other_runs import draw, rng_for
from tests.bench.other_sprayer import Thing, make_run

FIRST_S, SECOND_S = 42.0, 54.0
PASSES = [(4.0, 28.0), (34.0, 68.0)]


def told(first, second, seed=1, nozzles=5):
    rng = rng_for("second step", seed)
    make = draw(rng, nozzles=nozzles, nozzle_gpm=0.3, wander=0.01)
    return faults_of(make_run(make, PASSES, [Thing(*first), Thing(*second)], rng))


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize(
    ("first", "second", "names", "left"),
    [
        (("clog", FIRST_S, 0.5), ("lost_tip", SECOND_S, 1.5), {"leak", "lost_tip"}, 1.0),
        (("leak", FIRST_S, 0.5), ("clog", SECOND_S, 1.0), {"clog", "meter_low"}, 0.5),
        (("clog", FIRST_S, 1.0), ("lost_tip", SECOND_S, 4.0), {"lost_tip"}, 3.0),
    ],
)
def test_what_goes_over_to_the_other_side_is_a_fault_of_its_own(first, second, names, left, seed):
    one, other = told(first, second, seed)
    assert one.ended_s == pytest.approx(SECOND_S, abs=4.0)
    assert other.kind in names
    assert other.ended_s is None
    assert other.began_s == pytest.approx(SECOND_S, abs=1.0)
    assert other.called_s < SECOND_S + 4.0
    assert other.nozzles == pytest.approx(left, abs=0.1)  # off the healthy boom, not off the first fault
    assert other.urgent


def test_two_nozzles_of_which_one_is_cleaned_most_of_the_way_are_still_a_fault():
    (one,) = told(("clog", FIRST_S, 2.0), ("leak", SECOND_S, 1.5))
    assert one.ended_s is None
    assert one.nozzles == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("kind", ["clog", "leak"])
def test_a_return_to_the_healthy_level_is_the_end(kind):
    (one,) = told((kind, FIRST_S, 1.0, SECOND_S - FIRST_S), ("pace", SECOND_S, 0.1))
    assert one.ended_s == pytest.approx(SECOND_S, abs=5.0)


@pytest.mark.parametrize(
    ("before", "now", "what"),
    [
        ([-0.22] * 20, [-0.22] * 20, Ending.STAYS),
        ([-0.22] * 20, [0.0] * 20, Ending.GONE),
        ([-0.22] * 20, [-0.01] * 20, Ending.GONE),
        ([-0.5] * 20, [-0.1] * 20, Ending.STAYS),  # half a nozzle is left
        ([-0.22] * 20, [-0.22] * 14 + [0.6] * 6, Ending.MOVES),  # through zero on its way
        ([-0.22] * 20, [0.6] * 20, Ending.OVER),
        ([0.1] * 20, [-0.1] * 20, Ending.OVER),
        ([0.1] * 20, [-0.03] * 20, Ending.GONE),  # less than a quarter of a nozzle
    ],
)
def test_only_a_return_to_the_healthy_level_ends_a_fault(before, now, what):
    assert ending(float(np.mean(before)), np.array(now), 3, 5) is what


def test_a_second_clog_and_the_first_each_end_when_they_are_cleaned():
    """Both nozzles are cleaned at once: no leak. One of them: the other is still clogged."""
    of_two = [("clog", FIRST_S, 1.0), ("clog", SECOND_S + 1.0, 1.0)]
    cleaned = {"both": (30.0, 17.0), "the second": (90.0, 17.0), "the first": (20.0, 90.0)}
    passes = [*PASSES, (74.0, 110.0)]
    for which, (first_s, second_s) in cleaned.items():
        rng = rng_for("two clogs", 5)
        make = draw(rng, nozzles=5, nozzle_gpm=0.3, wander=0.01)
        things = [Thing(*of_two[0], first_s), Thing(*of_two[1], second_s)]
        one, other = faults_of(make_run(make, passes, things, rng))
        assert {one.kind, other.kind} <= {"clog", "meter_low"}
        assert one.nozzles == pytest.approx(1.0, abs=0.1)
        assert other.nozzles == pytest.approx(1.0, abs=0.1)  # of five, though one of them gives nothing already
        assert (one.ended_s is None) == (which != "both")
        assert other.ended_s is not None
