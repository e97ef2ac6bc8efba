"""A bicycle wheel with a single magnet: between two of its pulses a walker takes longer than a short stop lasts.

Circumference of a 28 inch wheel: 2.1 m (common practice; ISO 5775-1, 37-622, is 622 + 2 × 37 mm across).
"""

import numpy as np
import pytest

from host.pipeline import Pipeline
from host.pipeline.live import STANDING, live_row
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames

BICYCLE = RIG.replace('circumference = "1.0 m"\npulses_per_turn = 10', 'circumference = "2.1 m"\npulses_per_turn = 1')
WIDTH_M, PER_M3 = 2.0, 600e3


def walked(pace_m_s, *, stop_s=0.0, cut=10_000, interval_s=0.1):
    """A pass of two minutes, in its middle a stop with the spray on; flow of 40 Hz throughout."""
    half = np.full(round(60 / interval_s), pace_m_s)
    speed = np.concatenate((half, np.zeros(round(stop_s / interval_s)), half))
    n, idle = len(speed), round(4 / interval_s)
    speed, on = np.pad(speed, idle), np.pad(np.ones(n, bool), idle)
    frames = made_frames(np.where(on, 40.0, 0.0), speed / 2.1, on, step_s=interval_s)
    frames["pressure_max"] += 1  # a reading that never moves is a fault of its own
    pipeline, live = Pipeline(rig_from_toml(BICYCLE)), []
    for place in range(0, len(frames), cut):
        signals = pipeline.push(frames[place : place + cut], [] if place else [IDENTITY])
        live.append(live_row(pipeline, signals))
    pipeline.finish()
    return pipeline, live


@pytest.mark.parametrize("pace_m_s", [0.5, 0.7, 1.0, 1.4])
def test_who_walks_on_between_two_pulses_does_not_stand(pace_m_s):
    sums = walked(pace_m_s)[0].sums()
    assert sums["stationary_m3"] < 0.04 * 120 * 40 / PER_M3  # what lies before the first pulse and behind the last
    rate = sums["ground_m3"] / sums["ground_m2"]
    assert rate == pytest.approx(40 / PER_M3 / (pace_m_s * WIDTH_M), rel=0.02)


@pytest.mark.parametrize("pace_m_s", [0.7, 1.0, 1.4])
def test_a_stop_longer_than_the_time_between_two_pulses_is_still_seen(pace_m_s):
    sums = walked(pace_m_s, stop_s=8.0)[0].sums()
    assert sums["stationary_s"] == pytest.approx(8.0, abs=0.75 * 2.1 / pace_m_s)


def test_nobody_who_walks_on_is_told_to_stop_spraying_or_that_the_wheel_is_stuck():
    live = walked(0.8, cut=3)[1][34:400]
    assert STANDING not in {row["advice"] for row in live}
    assert not any(row["faults"] for row in live)
