"""A spray switch whose wire is on the other contact of a changeover switch: it is on while the spray is off."""

from pathlib import Path

import numpy as np
import pytest

from host.documents.text import format_text
from host.journal import RunFile
from host.pipeline import Pipeline
from host.review.review import review_of
from host.review.run_document import run_document
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames

PASS_S, TURN_S, FLOW_HZ, WHEEL_HZ = 30, 6, 40.0, 10.0


def run_of(*, backwards, passes=4):
    """Passes and turns at ten reports a second; the wheel turns all the time."""
    sprays = np.concatenate([np.zeros(50), *([np.ones(10 * PASS_S), np.zeros(10 * TURN_S)] * passes)]) > 0
    frames = made_frames(np.where(sprays, FLOW_HZ, 0.0), np.full(len(sprays), WHEEL_HZ), sprays ^ backwards)
    shaken = np.random.default_rng(92).integers(-30, 31, len(frames))
    frames["pressure_mean"] = frames["pressure_mean"].astype(int) + shaken
    frames["pressure_min"], frames["pressure_max"] = frames["pressure_min"] - 4, frames["pressure_max"] + 4
    return frames


def pushed(frames, pieces=(10**9,)):
    pipeline, place, sizes = Pipeline(rig_from_toml(RIG)), 0, iter(pieces)
    while place < len(frames):
        end = place + next(sizes, 10**9)
        pipeline.push(frames[place:end], [] if place else [IDENTITY])
        place = end
    pipeline.finish()
    return pipeline


def test_it_is_said_once_and_the_passes_after_it_are_known():
    right, wrong = (pushed(run_of(backwards=backwards)) for backwards in (False, True))
    assert np.isnan(right.switch_backwards_s) and not right.faults()
    assert wrong.switch_backwards_s == pytest.approx(5 + PASS_S + 3, abs=0.5), "in the first turn"
    assert not wrong.faults(), "what rested on the switch is taken back"
    assert len(wrong.passes) == len(right.passes) - 1
    for known, true in zip(wrong.passes, right.passes[1:], strict=True):
        assert known.rate_m3_m2 == pytest.approx(true.rate_m3_m2, rel=0.01)
    run = RunFile(Path("r.sward"), frames=run_of(backwards=True), events=[IDENTITY])
    text = " ".join(format_text(run_document(review_of(run, rig_from_toml(RIG)), "metric")).split())
    assert text.count("The spray switch reads the wrong way round") == 1


def test_a_wire_that_came_off_is_not_the_wrong_way_round():
    """It was right before, and is off for good."""
    frames = run_of(backwards=False)
    frames["flags"][400:] = 0
    assert np.isnan(pushed(frames).switch_backwards_s)


def test_a_spray_that_is_tried_with_the_pump_off_is_not_either():
    """On and dry twice, and then water with the switch on."""
    frames = run_of(backwards=False)
    tried = np.zeros(200, dtype=bool)
    tried[20:80] = tried[120:180] = True
    before = made_frames(np.zeros(200), np.zeros(200), tried)
    pipeline = pushed(np.concatenate((before, later(frames, before))))
    assert np.isnan(pipeline.switch_backwards_s) and len(pipeline.passes) == 4


def later(frames, before):
    """`frames` as they follow on `before`, of the same board."""
    frames = frames.copy()
    step = before["clock"][1] - before["clock"][0]
    frames["host_s"] += before["host_s"][-1] + 0.1 - frames["host_s"][0]
    for clock in ("clock", "flow_edge", "wheel_edge"):
        frames[clock] += before["clock"][-1] + step - run_of(backwards=False)["clock"][0]
    frames["seq"] += np.uint16(len(before))
    return frames


@pytest.mark.parametrize("pieces", [[5] * 10_000, [7, 300, 1, 450] * 20])
def test_any_cutting_gives_the_same(pieces):
    frames = run_of(backwards=True, passes=2)
    whole, cut = pushed(frames), pushed(frames, pieces)
    assert whole.switch_backwards_s == cut.switch_backwards_s
    assert whole.passes == cut.passes and whole.unassigned == cut.unassigned and whole.faults() == cut.faults()
