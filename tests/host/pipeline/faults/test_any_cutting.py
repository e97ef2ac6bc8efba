"""Any way of cutting the frames gives the same faults, to the last bit."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.pipeline import Pipeline
from host.simulate.disturbances import Disturbance
from host.simulate.settings import WalkSettings
from tests.host.pipeline.made import IDENTITY
from tests.host.pipeline.test_any_cutting import WHEEL, troubled_run
from tests.host.simulate.made import frames_of, one_pass
from tests.host.simulate.random_rigs import small_rig

RIG = small_rig(3, 0.3, 450)
EVENTS = (
    Disturbance("clog", 25.0, amount=1.0, lasts_s=20.0),
    Disturbance("meter_stuck", 60.0, lasts_s=4.0),
    Disturbance("transducer_open", 75.0, lasts_s=5.0),
    Disturbance("meter_noise", 95.0, amount=60.0, lasts_s=8.0),
    Disturbance("leak", 118.0, amount=0.3),
    Disturbance("board_reset", 150.0, lasts_s=1.5),
)


@pytest.fixture(scope="module")
def frames():
    walk = WalkSettings(passes=6, length_m=40.0, pace_m_s=1.2, start_after_s=1.0)
    return frames_of(one_pass(*EVENTS, seconds=170.0, quiet=False, rig=RIG, walk=walk))[0]


def faults_cut(rig, frames, cuts):
    pipeline = Pipeline(rig)
    for begin, end in itertools.pairwise([0, *cuts, len(frames)]):
        pipeline.push(frames[begin:end], [] if begin else [IDENTITY])
    return pipeline.faults()


@pytest.fixture(scope="module")
def uncut(frames):
    return faults_cut(RIG, frames, [])


def test_the_run_has_faults_in_it(uncut):
    kinds = {fault.kind for fault in uncut}
    assert {"clog", "meter_stuck", "transducer_open", "meter_noise", "board_reset"} <= kinds


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_any_cutting_gives_equal_faults(frames, uncut, data):
    cuts = sorted(data.draw(st.lists(st.integers(0, len(frames)), max_size=40)))
    assert repr(faults_cut(RIG, frames, cuts)) == repr(uncut)


def test_frame_by_frame_as_the_live_page_does(frames, uncut):
    assert repr(faults_cut(RIG, frames, range(len(frames)))) == repr(uncut)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), data=st.data())
def test_nor_does_it_matter_in_a_run_full_of_trouble(seed, data):
    frames = troubled_run(seed, 600)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(frames)), max_size=40)))
    assert repr(faults_cut(WHEEL, frames, cuts)) == repr(faults_cut(WHEEL, frames, []))


def test_nothing_in_nothing_found():
    pipeline = Pipeline(RIG)
    pipeline.push(np.empty(0, dtype=frames_of(one_pass(seconds=2.0))[0].dtype), [])
    assert pipeline.faults() == []
