"""What contradicts itself in a board's reports is told, and not taken."""

from pathlib import Path

import numpy as np

from host.documents.json import to_json
from host.documents.text import format_text
from host.journal import RunFile
from host.review.board_said import boards_message, pressure_message
from host.review.review import review_of
from host.review.run_document import run_document
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames


def frames_of(seconds=40):
    n = round(10 * seconds)
    return made_frames(np.full(n, 40.0), np.full(n, 10.0), np.full(n, True))


def test_a_pressure_outside_what_its_own_report_holds_is_no_pressure():
    """PROTOCOL.md section 5: always minimum × 16 ≤ mean ≤ maximum × 16."""
    frames = frames_of()
    assert pressure_message(frames) == ""
    true_pa = review_of(RunFile(Path("r.sward"), frames=frames, events=[IDENTITY]), rig_from_toml(RIG)).passes[0]
    frames["pressure_mean"][::2] = 16 * 900
    review = review_of(RunFile(Path("r.sward"), frames=frames, events=[IDENTITY]), rig_from_toml(RIG))
    assert review.passes[0].pressure_pa == true_pa.pressure_pa
    assert "In 200 of 400 reports the mean pressure is not between" in format_text(run_document(review, "metric"))


def test_two_boards_on_one_line_are_told_and_a_board_that_starts_often_is_not_two():
    frames = frames_of()
    frames["boot"] = np.arange(len(frames)) // 40  # it starts every four seconds
    assert boards_message(frames) == ""
    frames["boot"][41] = 0  # its last report before a start, sent once more: PROTOCOL.md section 8
    assert boards_message(frames) == ""
    frames["boot"] = np.where(np.arange(len(frames)) % 3 == 0, 7, 9)
    assert "two boards" in boards_message(frames)


def test_of_a_run_in_which_two_boards_are_mixed_nothing_is_known():
    frames = frames_of()
    frames["boot"] = np.where(np.arange(len(frames)) % 3 == 0, 7, 9)
    review = review_of(RunFile(Path("r.sward"), frames=frames, events=[IDENTITY]), rig_from_toml(RIG))
    document = run_document(review, "metric")
    assert document.answer.startswith("What was sprayed is not known: reports of two boards are mixed")
    totals = to_json(document)["totals"]
    assert totals["volume_L"] is totals["area_m2"] is totals["ground_on_share_percent"] is None
