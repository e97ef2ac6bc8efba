"""Edges that a filter refused: PROTOCOL.md section 6, refused ÷ (refused + counted) between two state lines."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_protocol.messages import Flag
from host.frames import Event
from host.pipeline import Pipeline, Why
from host.review.board_said import refused_message, refused_messages
from host.rig import rig_from_toml
from tests.host.pipeline.made import RIG, steady

SPACING, REST = 0, 1


def state(at_s, *, flow=(0, SPACING, 100), wheel=(0, SPACING, 400), boot=7):
    """A state line at `at_s`: refused so far, rule and filter time of each input."""
    detail = {"boot": boot, "clock": round(at_s * 1e6) % 2**32, "supply": 5000}
    for name, (refused, rule, filter_us) in (("flow", flow), ("wheel", wheel)):
        detail |= {f"{name}_refused": refused % 2**32, f"{name}_dropped": 0}
        detail |= {f"{name}_rule": rule, f"{name}_filter": filter_us}
    return Event(at_s, round(at_s * 10), "board_state", detail)


def pipeline_of(events, frames=None, cuts=()):
    frames = steady(400) if frames is None else frames
    pipeline = Pipeline(rig_from_toml(RIG), watch_faults=False)
    begin = 0
    for end in [*cuts, len(frames)]:
        here = [
            event for event in events if begin <= event.before_frame < end or (event.before_frame >= end == len(frames))
        ]
        pipeline.push(frames[begin:end], [Event(e.host_s, e.before_frame - begin, e.kind, e.detail) for e in here])
        begin = end
    pipeline.finish()
    return pipeline


def test_half_of_them_refused_near_the_filters_time_is_too_fast():
    # 40 pulses a second count, 40 are refused; at 15 ms the filter lets 67 pass, so true ones may be among them.
    frames = steady(400)
    frames["flags"] |= np.uint8(Flag.FLOW_GLITCH)
    events = [state(at, flow=(40 * at, SPACING, 15_000)) for at in (0, 10, 20, 30)]
    pipeline = pipeline_of(events, frames)
    (found,) = pipeline.refused
    assert (found.name, found.start_s, found.end_s, found.too_fast) == ("flow", 0, 30, True)
    assert found.share == pytest.approx(0.5, abs=0.01)
    assert refused_message(found).startswith("One flow pulse in two is refused: too fast for its filter of 15 ms")
    assert {one.why for one in pipeline.unassigned} == {Why.REFUSED}
    assert pipeline.sums()["ground_m2"] < 1.0


def test_far_from_the_filters_time_it_is_noise_and_the_counts_hold():
    frames = steady(400)
    frames["flags"] |= np.uint8(Flag.FLOW_GLITCH)
    pipeline = pipeline_of([state(at, flow=(10 * at, SPACING, 100)) for at in (0, 10, 20)], frames)
    (found,) = pipeline.refused
    assert not found.too_fast and "One flow pulse in five is refused as noise" in refused_message(found)
    assert pipeline.unassigned == [] and len(pipeline.passes) == 1


def test_a_bouncing_contact_is_what_the_rule_of_rest_is_for():
    # Ten pulses a second, each with three bounces; the contact rests for 50 ms.
    events = [state(at, wheel=(30 * at, REST, 8_000)) for at in (0, 10, 20)]
    frames = steady(400)
    frames["flags"] |= np.uint8(Flag.WHEEL_GLITCH)
    pipeline = pipeline_of(events, frames)
    assert pipeline.refused == [] and pipeline.unassigned == []


def test_an_input_that_lets_nothing_pass_is_said():
    pipeline = pipeline_of([state(at, wheel=(12 * at, REST, 50_000)) for at in (0, 10)], steady(400, wheel_hz=0.0))
    (message,) = refused_messages(pipeline.refused)
    assert "No wheel pulse is counted: all are refused" in message


def test_few_refused_edges_are_a_filters_daily_work():
    assert pipeline_of([state(at, flow=(3 * at, SPACING, 100)) for at in (0, 10, 20)]).refused == []


def test_counts_that_wrap_and_a_restart_make_no_refused_edges():
    wraps = [state(at, flow=(2**32 - 50 + 10 * at, SPACING, 100)) for at in (0, 10)]
    (found,) = pipeline_of(wraps).refused
    assert found.refused == 100
    again = [state(0, flow=(10_000, SPACING, 100)), state(10, flow=(0, SPACING, 100), boot=8)]
    assert pipeline_of(again).refused == []


def test_any_cutting_gives_the_same():
    frames = steady(400)
    frames["flags"][100:250] |= np.uint8(Flag.FLOW_GLITCH)
    events = [state(at, flow=(40 * max(at - 10, 0), SPACING, 15_000)) for at in (0, 5, 10, 20, 30)]
    whole = pipeline_of(events, frames)
    cut = pipeline_of(events, frames, cuts=(1, 99, 100, 101, 200, 333))
    assert whole.refused == cut.refused and whole.refused
    assert whole.unassigned == cut.unassigned
    np.testing.assert_array_equal(list(whole.sums().values()), list(cut.sums().values()))
