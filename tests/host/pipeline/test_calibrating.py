"""A catch in a jug within a run: the sprayer stands and sprays, for longer than anybody stands on a lawn."""

import numpy as np
import pytest

from host.events import CALIBRATION, CALIBRATION_END
from host.frames import Event
from host.pipeline import Pipeline
from host.pipeline.faults.alarm import Alarm
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames

WALKS_S, CATCH_S, READS_S = 30, 40, 30  # a pass, a catch, the jug being read; then a pass again
BEGIN, FLOW_HZ, WHEEL_HZ = WALKS_S + 10, 40.0, 10.0


def run_of(*, wheel_after=WHEEL_HZ, after_s=WALKS_S):
    """Rest, a pass, rest, a catch, the jug read, a pass; flow, wheel and switch at ten reports a second."""
    parts = (
        (5, 0, 0),
        (WALKS_S, FLOW_HZ, WHEEL_HZ),
        (5, 0, 0),
        (CATCH_S, FLOW_HZ, 0),
        (READS_S, 0, 0),
        (after_s, FLOW_HZ, wheel_after),
        (5, 0, 0),
    )
    flow = np.concatenate([np.full(10 * s, float(hz)) for s, hz, _ in parts])
    wheel = np.concatenate([np.full(10 * s, float(hz)) for s, _, hz in parts])
    frames = made_frames(flow, wheel, flow > 0)
    shaken = np.random.default_rng(90).integers(-30, 31, len(frames))  # sixteenths of a count
    frames["pressure_mean"] = frames["pressure_mean"].astype(int) + shaken
    frames["pressure_min"], frames["pressure_max"] = frames["pressure_min"] - 4, frames["pressure_max"] + 4
    return frames


def said(frames, *, first_s=BEGIN, last_s=BEGIN + CATCH_S + 5.0):
    """What the page says: Start as the catch begins, Stop and Save; and that the card is saved."""
    times = [(first_s, CALIBRATION), (last_s - 2.0, CALIBRATION), (last_s, CALIBRATION_END)]
    host_s = frames["host_s"]
    return [Event(at_s, int(np.searchsorted(host_s, at_s)), kind, {"text": "meter"}) for at_s, kind in times]


def reviewed(frames, events, pieces=(10**9,)):
    pipeline, place, alarm = Pipeline(rig_from_toml(RIG)), 0, Alarm()
    sizes = iter(pieces)
    while place < len(frames):
        end = place + next(sizes, 10**9)
        here = [event for event in events if place <= event.before_frame < end]
        shifted = [Event(one.host_s, one.before_frame - place, one.kind, one.detail) for one in here]
        pipeline.push(frames[place:end], [IDENTITY, *shifted] if not place else shifted)
        alarm.push(float(frames["host_s"][min(end, len(frames)) - 1]), pipeline.faults())
        place = end
    pipeline.finish()
    return pipeline, alarm


def test_a_catch_is_no_fault_and_stands_still():
    frames = run_of()
    without, _ = reviewed(frames, [])
    assert "wheel_stuck" in {fault.kind for fault in without.faults()}
    pipeline, alarm = reviewed(frames, said(frames), [10] * 1000)
    assert not pipeline.faults() and not alarm.events
    assert not pipeline.unassigned, "it stood: that is known"
    assert len(pipeline.passes) == 2
    (span,) = pipeline.calibrations
    assert span.kinds == ["meter"] and span.begin_s == pytest.approx(BEGIN, abs=0.2)


def test_spray_that_was_on_before_the_first_catch_belongs_to_it():
    """A steady pressure is set first, and Start is pressed half a minute later: the sound stops then."""
    frames = run_of()
    pipeline, alarm = reviewed(frames, said(frames, first_s=BEGIN + 30.0), [10] * 1000)
    assert not pipeline.faults()
    assert [event.what for event in alarm.events] == ["raised", "cleared"]
    assert alarm.events[1].at_s < BEGIN + 30.0 + 5.0


def test_a_wheel_that_is_still_dead_when_ground_is_sprayed_is_called():
    frames = run_of(wheel_after=0.0, after_s=120)
    pipeline, _ = reviewed(frames, said(frames))
    assert "wheel_stuck" in {fault.kind for fault in pipeline.faults()}


def test_a_page_that_was_left_open_hides_nothing_of_the_passes_after_it():
    """No word of its end: ground that is sprayed ends it."""
    frames = run_of(after_s=60)
    begun = said(frames)[0]
    assert not reviewed(frames, [begun])[0].faults()
    late = len(frames) - 10 * 45
    frames["flow_count"][late:-50] = frames["flow_count"][late]  # the meter dies ten seconds into the pass
    frames["flow_edge"][late:-50] = frames["flow_edge"][late]
    assert reviewed(frames, [begun])[0].faults()


@pytest.mark.parametrize("pieces", [[5] * 10_000, [7, 300, 1, 450] * 20])
def test_any_cutting_gives_the_same(pieces):
    frames = run_of(wheel_after=0.0, after_s=120)
    events = said(frames, first_s=BEGIN + 20.0)
    whole, cut = reviewed(frames, events)[0], reviewed(frames, events, pieces)[0]
    assert whole.calibrations == cut.calibrations and whole.faults() == cut.faults()
    assert whole.passes == cut.passes and whole.unassigned == cut.unassigned
