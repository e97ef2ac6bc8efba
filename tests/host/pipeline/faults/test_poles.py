"""Uneven poles are learned, and what they added to the noise is forgotten; a false pulse in a turn does no harm.

The rotor is made here: edges at an even speed, each pole early or late by its own few percent of a pitch.
"""

from dataclasses import replace

import numpy as np
import pytest

from host.pipeline.faults.steps import StepWatch, Usable
from host.pipeline.faults.timing import USUAL
from host.pipeline.faults.tuning import TUNING

PER_FRAME = 1.37  # pulses: a slow meter, where the poles matter most
OFFSETS = np.array([0.04, -0.05, 0.02, 0.03, -0.04])
JITTER = 0.004  # of a frame's flow


def usable(frames, false_at=None, seed=1):
    """Frames of an even flow; before frame `false_at` there is a turn of 6 s with one false pulse in it."""
    rng = np.random.default_rng(seed)
    edges = np.arange(int(frames * PER_FRAME) + 20)
    at = (edges + OFFSETS[edges % len(OFFSETS)]) / PER_FRAME  # in frames
    last = np.searchsorted(at, np.arange(frames + 1) + 10.0, side="right") - 1
    number = last.copy()
    time_s = np.arange(frames) * 0.1
    if false_at is not None:
        number[false_at:] += 1
        time_s[false_at:] += 6.0
    span = np.diff(at[last]) * (1 + rng.normal(0.0, JITTER, frames))
    good = np.diff(last) > 0
    return Usable(
        np.diff(last)[good].astype(float),
        span[good],
        number[1:][good],
        np.full(good.sum(), 12.0),
        np.full(good.sum(), 6.0),
        time_s[good],
        np.cumsum(np.diff(time_s, prepend=0.0) > 1.0)[good],
        np.zeros(good.sum(), dtype=bool),
    )


def test_before_there_is_a_map_the_poles_are_the_noise():
    watched = StepWatch().push(usable(USUAL.frames(TUNING.pole_frames) - 20))
    assert np.std(watched.log_c) > 5 * JITTER


@pytest.mark.parametrize("seed", range(5))
def test_as_soon_as_it_is_there_a_small_fall_is_seen_in_less_than_a_second(seed):
    frames = usable(600, seed=seed)
    begins = USUAL.frames(TUNING.pole_frames) + 60
    seen = 1.0 - np.exp(-np.maximum(np.arange(len(frames)) - begins + 0.5, 0.0) * 0.1 / TUNING.lag_s)
    watched = StepWatch().push(replace(frames, expected=frames.expected * (1.0 + 0.03 * seen)))
    assert watched.steps[0].down
    assert 0 < watched.steps[0].at - begins < 9


@pytest.mark.parametrize("seed", range(5))
def test_a_false_pulse_in_a_turn_is_no_clog_and_the_map_fits_again_soon(seed):
    watch = StepWatch()
    watched = watch.push(usable(1200, false_at=900, seed=seed))
    assert watched.steps == []
    after = watched.log_c[910:]
    assert np.std(after[15:]) < 2 * JITTER
