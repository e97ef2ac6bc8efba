"""Any way of cutting the input gives the same output, to the last bit."""

import itertools
import math
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.frames import FRAME_DTYPE, Event
from host.pipeline import Pipeline, Settled, Signals, Why, joined, settled_rows
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames
from tests.host.pipeline.test_refused import state

WHEEL = rig_from_toml(RIG)
ONE_MAGNET = rig_from_toml(RIG.replace('"1.0 m"', '"2.1 m"').replace("pulses_per_turn = 10", "pulses_per_turn = 1"))
COURSE = rig_from_toml(
    RIG.replace("spray_switch = true", "spray_switch = false")
    .replace(
        '[wheel]\ncircumference = "1.0 m"\npulses_per_turn = 10\n', '[course]\ndistance = "100 m"\ntime = "90 s"\n'
    )
    .replace('factor = "600 /L"', 'curve = [["10 Hz", "560 /L"], ["30 Hz", "610 /L"], ["60 Hz", "600 /L"]]')
)


def troubled_run(seed, n):
    """Some minutes of everything that can happen: passes, stops, lost lines, restarts, wraps, a stalled link."""
    rng = np.random.default_rng(seed)
    parts = []
    host_s = 0.0
    boot = int(rng.integers(256))
    while sum(map(len, parts)) < n:
        length = int(rng.integers(5, 150))
        spraying = rng.random() < 0.6
        part = made_frames(
            np.full(length, rng.uniform(5, 80) * spraying),
            np.full(length, rng.choice([0.0, rng.uniform(1, 16)])) + rng.normal(0, 0.2, length).clip(0),
            np.full(length, spraying),
            clock_error=0.003,
            first_clock_us=int(rng.choice([0, 2**32 - 3_000_000, 10**9])),
            boot=boot,
            counts=(int(rng.choice([0, 2**32 - 50])), 5),
            pressure_counts=rng.uniform(0, 1023),
        )
        part["host_s"] += host_s + rng.exponential(0.004, length)
        host_s = float(part["host_s"].max()) + rng.choice([0.0, 0.1, 3.0])
        parts.append(part[rng.random(length) > 0.05])
        boot = int((boot + rng.integers(0, 2)) % 256)
    frames = np.concatenate(parts)
    frames["host_s"] = np.maximum.accumulate(frames["host_s"])
    return frames


def walk_with_dying_sensors(seed):
    """Some passes and turns in which meter and wheel come and go, and the spray is shut late, early or not at all."""
    rng = np.random.default_rng(seed)
    parts = []  # (reports, Hz of the flow, Hz of the wheel, whether the spray is on, the transducer's reading)
    for _ in range(int(rng.integers(4, 12))):
        flow, wheel = rng.uniform(20, 60) * (rng.random() < 0.6), rng.choice([0.5, 5.0, 14.0]) * (rng.random() < 0.7)
        gone = float(rng.choice([103.0, 327.68]))
        parts.append((rng.integers(5, 200), flow, wheel, True, 327.68))
        parts.append((rng.integers(1, 120), 0.0, wheel * (rng.random() < 0.8), rng.random() < 0.7, gone))
        parts.append((rng.integers(1, 60), 2.0 * (rng.random() < 0.1), 5.0 * (rng.random() < 0.7), False, gone))
    lengths = [int(part[0]) for part in parts]
    flow, wheel, spray, reading = (np.repeat([part[of] for part in parts], lengths) for of in range(1, 5))
    frames = made_frames(flow, wheel, spray.astype(bool))
    frames["pressure_mean"] = np.rint(16 * reading)
    frames["pressure_min"], frames["pressure_max"] = np.rint(reading), np.rint(reading) + 1
    kept = np.ones(len(frames), dtype=bool)
    if rng.random() < 0.5:  # a silence
        begin = int(rng.integers(len(frames)))
        kept[begin : begin + int(rng.integers(1, 60))] = False
    return frames[kept]


def events_in(rng, n):
    kinds = (
        ("refill", {}),
        ("refill", {"added_m3": 0.02}),
        ("refill", {"to_m3": 0.04}),
        ("refill", {"to_m3": "x"}),
        ("run_start", {"tank_m3": 0.03}),
        ("identity", IDENTITY.detail),
        ("identity", {"adc_full_scale": 4095, "capabilities": 0x07}),
        ("board_state", state(0.0, wheel=(0, int(rng.integers(2)), 400), boot=int(rng.integers(256))).detail),
        ("mark", {}),
    )
    places = sorted(int(rng.integers(0, n + 1)) for _ in range(8))
    return [Event(0.0, place, *kinds[int(rng.integers(len(kinds)))]) for place in places]


def push_cut(rig, frames, events, cuts):
    pipeline = Pipeline(rig)
    parts, settled = [], []
    edges = [0, *cuts, len(frames)]
    for number, (begin, end) in enumerate(itertools.pairwise(edges)):
        last = number == len(edges) - 2
        here = [
            Event(h.host_s, h.before_frame - begin, h.kind, h.detail)
            for h in events
            if begin <= h.before_frame < end or (last and h.before_frame == end)
        ]
        parts.append(pipeline.push(frames[begin:end], here))
        settled.append(pipeline.take_settled())
        assert sum(map(len, settled)) <= end
    pipeline.finish()
    settled.append(pipeline.take_settled())
    told = [pipeline.passes, pipeline.unassigned, pipeline.sums()]
    return joined(parts), told, settled_rows(settled)


def assert_same(one, other):
    for column in fields(Signals):
        np.testing.assert_array_equal(getattr(one[0], column.name), getattr(other[0], column.name), column.name)
    assert repr(one[1]) == repr(other[1])
    for column in fields(Settled):
        np.testing.assert_array_equal(getattr(one[2], column.name), getattr(other[2], column.name), column.name)


def assert_adds_up(frames, whole):
    """One settled row for each frame; every drop is on the ground, was sprayed standing still, or is not assigned."""
    signals, (passes, unassigned, sums), settled = whole
    assert len(settled) == len(frames) == len(signals)
    total = settled.ground_m3 + settled.stationary_m3 + settled.unassigned_m3
    np.testing.assert_allclose(np.cumsum(total), signals.volume_m3, rtol=1e-9, atol=1e-12)
    for one in passes:
        here = settled.pass_number == one.number
        assert math.fsum(settled.ground_m3[here]) == one.volume_m3
        assert math.fsum(settled.ground_m2[here]) == one.area_m2
        assert math.fsum(settled.ground_m[here]) == one.distance_m
        assert one.area_m2 == pytest.approx(one.over_m2 + one.under_m2 + one.unknown_m2, abs=one.area_m2)
    assert math.fsum(one.volume_m3 for one in unassigned) == pytest.approx(sums["unassigned_m3"], rel=1e-9)
    assert (settled.ground_m2 >= 0).all() and (settled.unassigned_m3 >= 0).all()


@pytest.mark.parametrize("rig", [WHEEL, COURSE], ids=["wheel and switch", "timed course"])
@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), data=st.data())
def test_any_cutting_gives_equal_signals_and_passes(rig, seed, data):
    frames = troubled_run(seed, 600)
    events = events_in(np.random.default_rng(seed), len(frames))
    cuts = sorted(data.draw(st.lists(st.integers(0, len(frames)), max_size=40)))
    whole = push_cut(rig, frames, events, [])
    assert_same(whole, push_cut(rig, frames, events, cuts))
    assert_adds_up(frames, whole)


@pytest.mark.parametrize("rig", [WHEEL, ONE_MAGNET, COURSE], ids=["wheel and switch", "one magnet", "timed course"])
@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), data=st.data())
def test_sensors_that_die_and_come_back_are_told_the_same_however_cut(rig, seed, data):
    frames = walk_with_dying_sensors(seed)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(frames)), max_size=40)))
    whole = push_cut(rig, frames, [IDENTITY], [])
    assert_same(whole, push_cut(rig, frames, [IDENTITY], cuts))
    assert_adds_up(frames, whole)


@pytest.mark.parametrize("rig", [WHEEL, COURSE], ids=["wheel and switch", "timed course"])
def test_frame_by_frame_as_the_live_page_does(rig):
    frames = troubled_run(11, 1500)
    events = events_in(np.random.default_rng(11), len(frames))
    assert_same(push_cut(rig, frames, events, []), push_cut(rig, frames, events, range(len(frames) + 1)))


def test_the_troubled_run_really_has_trouble_in_it():
    frames = troubled_run(11, 6000)
    signals, (passes, unassigned, sums), _ = push_cut(WHEEL, frames, [], [])
    assert {one.why for one in unassigned} >= {Why.RESTART, Why.OTHER_COUNTS}
    assert signals.resets[-1] > 0
    assert signals.lost_frames[-1] > 0
    assert sums["stationary_s"] > 0
    assert sums["off_target_s"] > 0
    assert np.isnan(signals.pressure_pa).any()
    assert np.isfinite(signals.rate_m3_m2).any()
    assert len(passes) >= 2


def test_nothing_in_nothing_out():
    pipeline = Pipeline(WHEEL)
    assert len(pipeline.push(np.empty(0, dtype=FRAME_DTYPE), [])) == 0
    pipeline.finish()
    assert pipeline.passes == []
