"""The walk: passes of their length, turns without spray, stops."""

import numpy as np
import pytest

from host.simulate.disturbances import Disturbance
from host.simulate.settings import WalkSettings
from host.simulate.walk import STEP_S, Walk, walk


def walked(plan: WalkSettings, *events: Disturbance, duration_s: float | None = None, seed: int = 1) -> Walk:
    return walk(plan, 1.1, events, duration_s, np.random.default_rng(seed))


PLAN = WalkSettings(passes=3, length_m=25.0, turn_s=5.0, start_after_s=2.0)


def test_every_pass_is_as_long_as_planned() -> None:
    plan = WalkSettings(passes=4, length_m=25.0, lengths=(1.0, 0.4))
    done = walked(plan)
    ends = [np.diff(done.distance_at(np.array([p.begin_s, p.end_s])))[0] for p in done.passes]
    assert ends == pytest.approx([25.0, 10.0, 25.0, 10.0], abs=1.5 * STEP_S * 1.1)


def test_a_pass_at_an_even_pace_takes_length_over_pace() -> None:
    """200 ft in 55 s is 3.64 ft/s (common practice); setting off costs its time constant of 0.4 s."""
    plan = WalkSettings(passes=1, length_m=200 * 0.3048, variation=0.0)
    one = walk(plan, 200 * 0.3048 / 55, (), None, np.random.default_rng(1)).passes[0]
    assert one.end_s - one.begin_s == pytest.approx(55.4, abs=0.15)


def test_the_spray_is_off_between_passes() -> None:
    done = walked(PLAN)
    assert len(done.passes) == 3
    for before, after in zip(done.passes[:-1], done.passes[1:], strict=True):
        assert after.begin_s - before.end_s == pytest.approx(PLAN.turn_s)


def test_the_pace_of_each_pass_follows_the_rotation() -> None:
    plan = WalkSettings(passes=4, length_m=60.0, paces=(1.0, 0.8), variation=0.01)
    times = [p.end_s - p.begin_s for p in walked(plan).passes]
    assert times[1] / times[0] == pytest.approx(1.25, rel=0.03)
    assert times[3] / times[2] == pytest.approx(1.25, rel=0.03)


def test_refills_come_after_the_passes_named_and_the_walker_stands() -> None:
    plan = WalkSettings(passes=3, length_m=20.0, refill_after=(2,), refill_s=30.0)
    done = walked(plan)
    ((begin, end),) = done.refills
    assert begin == pytest.approx(done.passes[1].end_s)
    assert end - begin == pytest.approx(30.0)
    standing = done.speed_m_s[(done.t > begin + 3) & (done.t < end)]
    assert (standing == 0).all()


def test_standing_in_a_pass_lengthens_it_and_is_a_standstill() -> None:
    stop = Disturbance("stand", 8.0, pass_number=2, lasts_s=6.0)
    without, done = walked(PLAN), walked(PLAN, stop)
    longer = [(b.end_s - b.begin_s) - (a.end_s - a.begin_s) for a, b in zip(without.passes, done.passes, strict=True)]
    assert longer[0] == pytest.approx(0.0, abs=1e-9)
    assert 5.5 < longer[1] < 7.5
    begin = done.passes[1].begin_s
    assert (done.speed_m_s[(done.t > begin + 11) & (done.t < begin + 14)] == 0).all()
    assert done.disturbances[0].at_s == pytest.approx(begin + 8.0)


def test_the_run_can_be_cut_off() -> None:
    done = walked(PLAN, duration_s=20.0)
    assert done.duration_s == pytest.approx(20.0)
    assert len(done.passes) == 1
    assert done.passes[0].end_s == pytest.approx(20.0)
