"""A run begun on a part of the boom: its nozzles are no lost tip once they spray, and their level is let go.

That a boom's sections have valves of their own, shut at a turn for a narrower strip, is common practice; that a bare
nozzle body lets several nozzles' worth through, too.
"""

import math
from dataclasses import replace

import pytest

from host.pipeline import Pipeline
from host.pipeline.faults.causes.boom import judge
from host.pipeline.faults.causes.sections import opened_or, opened_share
from tests.bench.bench_other import faults_of
from tests.bench.other_runs import draw, rng_for
from tests.bench.other_sprayer import Run, Thing, make_run
from tests.host.pipeline.made import IDENTITY

PASSES = [(4.0, 30.0), (36.0, 56.0), (62.0, 80.0), (86.0, 112.0)]
LATE = [(at, at + 54.0) for at in range(4, 364, 60)]
RISEN = {"orifice": 1.0, "meter": 0.0, "transducer": 0.0}


def opening(nozzles: int, share: float, at_s: float, passes=PASSES, *more: Thing, **physics: object) -> Run:
    rng = rng_for("opened", nozzles, at_s)
    make = draw(rng, nozzles=nozzles, nozzle_gpm=0.3, fill_s=0.2, **physics)
    return make_run(make, passes, [Thing("section", 0.0, share, lasts_s=at_s), *more], rng)


@pytest.mark.parametrize(
    ("nozzles", "share", "at_s", "passes"),
    [(4, 0.5, 33.0, PASSES), (6, 1 / 3, 70.0, PASSES), (2, 0.5, 33.0, PASSES), (4, 0.5, 301.0, LATE)],
)
@pytest.mark.parametrize("physics", [{}, {"behind_valve": True, "interval_s": 0.05}])
def test_a_section_that_is_opened_is_said_and_over(nozzles, share, at_s, passes, physics):
    (fault,) = faults_of(opening(nozzles, share, at_s, passes, **physics))
    assert (fault.kind, fault.or_else, fault.urgent) == ("section_open", (), False)
    number = round(nozzles * share)
    assert fault.words.startswith(f"{number if number > 1 else 'one'} of {nozzles} nozzles spray only now")
    assert fault.nozzles == pytest.approx(number, abs=0.1)
    assert fault.ended_s is not None and fault.ended_s - at_s < 12.0


def test_what_comes_after_it_is_measured_off_the_whole_boom():
    opened, shut, clog = faults_of(
        opening(4, 0.5, 33.0, PASSES, Thing("section", 59.0, 0.5, lasts_s=24.0), Thing("clog", 100.0))
    )
    assert (opened.kind, shut.kind) == ("section_open", "section_shut")
    assert shut.ended_s is not None and shut.ended_s < 95.0
    assert clog.kind in ("clog", "meter_low")
    assert clog.nozzles == pytest.approx(1.0, abs=0.1)


def test_a_tip_that_is_lost_or_a_leak_stays_what_it_is():
    for kind, amount in (("lost_tip", 4.0), ("lost_tip", 2.5), ("leak", 1.0), ("leak", 2.0)):
        rng = rng_for("no opening", kind, amount)
        run = make_run(draw(rng, nozzles=4), PASSES, [Thing(kind, 45.0, amount)], rng)
        (fault,) = faults_of(run)
        assert fault.kind == kind and fault.ended_s is None


def test_with_a_factor_that_is_far_off_both_are_named_and_it_is_let_go_at_the_end_of_the_pass():
    run = opening(4, 0.5, 33.0)
    meter = run.rig.meter
    rig = replace(run.rig, meter=replace(meter, curve=tuple((hz, 0.7 * factor) for hz, factor in meter.curve)))
    (fault,) = faults_of(replace(run, rig=rig))
    assert "section_open" in (fault.kind, *fault.or_else) and "lost_tip" in (fault.kind, *fault.or_else)
    assert fault.sure <= 0.6 and fault.urgent
    assert fault.ended_s == pytest.approx(56.0, abs=1.0)


@pytest.mark.parametrize("frames", [1, 7])
def test_it_is_the_same_however_the_reports_are_cut(frames):
    run = opening(4, 0.5, 33.0, PASSES[:2])
    pipeline = Pipeline(run.rig)
    pipeline.push(run.frames[:frames], [IDENTITY])
    for at in range(frames, len(run.frames), frames):
        pipeline.push(run.frames[at : at + frames], [])
    assert pipeline.faults() == faults_of(run)


@pytest.mark.parametrize(
    ("ratio", "before", "kind"),
    [
        (2.0, 0.5, "section_open"),
        (2.0, 1.0, "lost_tip"),
        (1.8, 0.5, "lost_tip"),  # no whole number of four
        (4 / 3, 0.75, "section_open"),
        (4 / 3, 1.0, "leak"),
        (1.02, 0.98, "leak"),
    ],
)
def test_it_is_one_only_by_whole_nozzles_up_to_the_boom_as_the_rig_has_it(ratio, before, kind):
    risen = judge(RISEN, math.log(ratio), True, 4)
    share = opened_share(math.log(ratio), math.log(before), 4, while_shut=False)
    assert opened_or(risen, share).kind == kind


def test_nothing_is_known_of_the_size_or_it_lies_between():
    half = math.log(2.0)
    assert 0.5 < opened_share(half, math.nan, 4, while_shut=True) < 0.9
    assert 0.5 < opened_share(half, -half / 2, 4, while_shut=True) < 0.9
    doubtful = opened_or(judge(RISEN, half, True, 4), opened_share(half, -half / 2, 4, while_shut=True))
    assert (doubtful.kind, doubtful.or_else, doubtful.sure) == ("section_open", ("lost_tip",), 0.6)
    # One nozzle alone may as well be a leak that is as large, unless the boom was shut.
    one = math.log(8 / 7)
    assert opened_share(one, -one, 8, while_shut=False) < 0.9 < opened_share(one, -one, 8, while_shut=True)
