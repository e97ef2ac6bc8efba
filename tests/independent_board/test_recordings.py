"""The recordings of the edge cases, played out of a pseudo-terminal into the recorder, are reviewed as they were."""

from __future__ import annotations

from pathlib import Path

import pytest

from host.journal import read_run
from host.pipeline import Why
from host.recorder import Recorder, RunPlan
from host.review.review import review_run
from tests.host.link.test_replayed_port import raw_lines, replay
from tests.host.recorder.feeding import Recording, until
from tests.independent_board.record_edges import FOLDER, KINDS

RECORDINGS = sorted(FOLDER.glob("*.sward"))
APART = {"silent-over-a-turn": {Why.SILENCE}, "restart": {Why.RESTART}, "dropped-pulses": {Why.DROPPED}}


def test_there_is_one_of_each_kind() -> None:
    assert [path.stem.partition("harrow-lea-")[2] for path in RECORDINGS] == [kind.name for kind in KINDS]


@pytest.mark.parametrize("path", RECORDINGS, ids=lambda path: path.stem.partition("harrow-lea-")[2])
def test_replayed_into_the_recorder_it_is_reviewed_the_same(path: Path, tmp_path: Path) -> None:
    before = review_run(path, watch_faults=False)
    player = replay(path, tmp_path / "port")
    recording = Recording(Recorder(str(tmp_path / "port"), RunPlan(tmp_path / "runs", "again", before.rig.toml)))
    expected = len(raw_lines(path))
    until(lambda: recording.recorder.status()["lines"] >= expected)
    recording.stop()
    player.wait(60)
    assert raw_lines(recording.path) == raw_lines(path)
    after = review_run(recording.path, watch_faults=False)
    assert len(after.passes) == len(before.passes) == 2
    assert {one.why for one in after.unassigned} == {one.why for one in before.unassigned}
    assert {one.why for one in before.unassigned} == APART.get(path.stem.partition("harrow-lea-")[2], set())
    assert after.totals.volume_m3 == before.totals.volume_m3
    # Played fast, the computer's clock no longer corrects the board's: a speed by a timed course rests on it.
    close = pytest.approx
    assert after.totals.ground_m3 == close(before.totals.ground_m3, rel=1e-9)
    assert after.totals.area_m2 == close(before.totals.area_m2, rel=0.003 if before.rig.course else 1e-6)
    assert read_run(path).complete
