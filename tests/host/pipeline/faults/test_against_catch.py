"""Faults in a run's first seconds, which only a catch test shows: by their size, and with the sound they are worth.

That a bare nozzle body lets several nozzles' worth through, and worn tips a few hundredths, is common practice.
"""

import math

import pytest

from host.pipeline import Fault, Pipeline
from host.pipeline.faults.causes.boom import unseen
from host.pipeline.faults.causes.supply import fallen
from tests.bench.other_runs import draw, rng_for
from tests.bench.other_sprayer import Thing, make_run
from tests.host.pipeline.made import IDENTITY

PASSES = [(4.0, 34.0), (40.0, 70.0), (76.0, 100.0)]


def called(*things: Thing, nozzles: int) -> list[Fault]:
    rng = rng_for("catch", nozzles, len(things))
    run = make_run(draw(rng, nozzles=nozzles, nozzle_gpm=0.3, zero_psi=0.0), PASSES, list(things), rng)
    tips = run.rig.nozzles
    pipeline = Pipeline(run.rig, catch=(tips.count * tips.coefficient, 0.01))
    pipeline.push(run.frames, [IDENTITY])
    return pipeline.faults()


@pytest.mark.parametrize("at_s", [4.5, 6.0, 7.5])
@pytest.mark.parametrize(
    ("kind", "amount", "name", "urgent"),
    [
        ("clog", 1.0, "clog", True),
        ("clog", 2.0, "section_shut", True),
        ("leak", 1.3, "leak", True),
        ("lost_tip", 3.5, "lost_tip", True),
        ("wear", 0.4, "wear", False),
    ],
)
def test_what_comes_in_the_first_seconds_is_called_by_its_size(at_s, kind, amount, name, urgent):
    (fault,) = called(Thing(kind, at_s, amount), nozzles=4)
    assert (fault.kind, fault.urgent, fault.against_catch) == (name, urgent, True)
    assert fault.nozzles == pytest.approx(amount, abs=0.2)
    assert fault.called_s < at_s + 7.0


def test_a_boom_that_is_as_caught_is_none():
    assert called(nozzles=4) == []


def test_half_a_boom_is_a_section_until_it_is_opened():
    (fault,) = called(Thing("section", 0.0, 0.5, lasts_s=37.0), nozzles=4)
    assert fault.kind == "section_shut" and "no flow from 2 of 4 nozzles" in fault.words
    assert fault.ended_s is not None and fault.ended_s < 50.0


def test_by_size():
    assert unseen(math.log(1.05), 4).kind == "wear"
    assert unseen(math.log(1.4), 4).kind == "leak"
    assert unseen(math.log(1.8), 4).kind == "lost_tip"
    assert unseen(math.log(0.5), 4).or_else == ("clog", "meter_low", "transducer_drift")


def test_a_pressure_that_is_not_known_has_not_fallen():
    assert fallen(math.nan, nearly_empty=False) is None
    assert fallen(-0.5, nearly_empty=False) is not None
