"""From the emulated board over a pseudo-terminal to the review: what was truly sprayed is what the review says."""

import math
import threading
import time

import pytest

from host.journal import RunReader
from host.pipeline import Pipeline, joined
from host.recorder import Recorder, RunPlan, follow
from host.review.review import review_run
from host.review.totals import totals_of
from host.simulate.scenario import load_scenario
from host.simulate.scenario_source import ScenarioSource
from host.simulate.serve import Server, serve
from host.simulate.terminal import PseudoTerminal
from host.simulate.truth import truth


class LiveReader(threading.Thread):
    """Follows the run file while it is being written, as the live page does."""

    def __init__(self, path, rig):
        super().__init__(daemon=True)
        self.follower = follow(path)
        self.pipeline = Pipeline(rig)
        self.parts = []
        self.ended = False

    def run(self):
        reader = RunReader()
        while not self.ended:
            batch = reader.push(self.follower.poll())
            self.parts.append(self.pipeline.push(batch.frames, batch.events))
            self.ended = any(event.kind == "trailer" for event in batch.events)
            time.sleep(0.002)
        self.pipeline.finish()
        self.follower.close()


def recorded(name, folder, pace=math.inf):
    """Serve a scenario on a pseudo-terminal, record it, follow it live. Returns the run, the truth, the live reader."""
    scenario = load_scenario(name)
    source = ScenarioSource(scenario)
    port = folder / "board"  # stays the same when the cable is pulled and put back
    server = Server(source, lambda: PseudoTerminal(port), time.monotonic, pace)
    board = threading.Thread(target=serve, args=(server, time.sleep), daemon=True)
    board.start()
    recorder = Recorder(str(port), RunPlan(folder / "runs", scenario.rig.name, scenario.rig.toml))
    path = recorder.start(board_wait_s=20.0)
    live = LiveReader(path, scenario.rig)
    live.start()

    def stop_when_over():
        board.join()
        recorder.stop("the emulated run is over")

    threading.Thread(target=stop_when_over, daemon=True).start()
    outcome = recorder.run()
    live.join(timeout=60)
    assert live.ended
    return outcome, truth(source.sprayer), live


def test_a_twenty_minute_run_is_reviewed_as_it_was_sprayed(tmp_path):
    outcome, true, live = recorded("twenty-minutes", tmp_path)
    review = review_run(outcome.run)
    assert review.health.complete
    assert review.health.wire_damage == review.health.lost_frames == 0
    assert review.health.frames > 11_000
    assert review.totals.volume_m3 == pytest.approx(true["volume_m3"], rel=0.005)
    assert review.totals.area_m2 == pytest.approx(true["area_m2"], rel=0.005)
    assert review.totals.rate_m3_m2 == pytest.approx(true["rate_m3_m2"], rel=0.005)
    assert len(review.passes) == len(true["passes"])
    for found, made in zip(review.passes, true["passes"], strict=True):
        assert found.area_m2 == pytest.approx(made["area_m2"], rel=0.01)
        assert found.rate_m3_m2 == pytest.approx(made["rate_m3_m2"], rel=0.015)
    # Computed live while it was being written, and read again from the file: the same to the last digit.
    assert totals_of(live.pipeline, joined([part for part in live.parts if len(part)])) == review.totals
    assert repr(live.pipeline.passes) == repr(review.passes)


def test_a_wrap_of_the_clock_and_a_reset_cost_only_what_flowed_while_the_board_was_down(tmp_path):
    outcome, true, _ = recorded("wrap-and-reset", tmp_path)
    review = review_run(outcome.run)
    assert review.health.resets >= 1
    down_s = 3.0  # the most that a reset keeps the board from counting in this scenario, start-up included
    flow_m3_s = true["volume_m3"] / sum(one["end_s"] - one["begin_s"] for one in true["passes"])
    missing = true["volume_m3"] - review.totals.volume_m3
    assert -0.005 * true["volume_m3"] <= missing <= 0.005 * true["volume_m3"] + down_s * flow_m3_s
