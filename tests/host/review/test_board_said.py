"""What contradicts itself in a board's reports is told, and not taken."""

from pathlib import Path

import numpy as np
import pytest

from host.documents.json import to_json
from host.documents.text import format_text
from host.frames import Event
from host.journal import RunFile
from host.review.board_said import boards_message, other_boards_s, pressure_message
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
    assert not review.faults and not review.watched
    assert "Not looked for: reports of two boards are mixed in this run." in format_text(document)
    totals = to_json(document)["totals"]
    assert totals["volume_L"] is totals["area_m2"] is totals["ground_on_share_percent"] is None


def speaks(at_s, name, serial, before_frame=0):
    """What a board says first: PROTOCOL.md section 5."""
    who = {**IDENTITY.detail, "name": name}
    return [Event(at_s, before_frame, "identity", who), Event(at_s, before_frame, "hardware", {"serial": serial})]


@pytest.mark.parametrize(
    ("second", "other"),
    [(("a", 5), False), (("a", 0), False), (("a", 9), True), (("b", 9), True), (("b", 0), True)],
)
def test_another_board_is_told_by_its_serial_number_or_its_name(second, other):
    said = [*speaks(0.8, "a", 5), *speaks(20.0, *second), *speaks(80.0, *second)]
    assert other_boards_s(said) == ([20.0] if other else [])


@pytest.mark.parametrize("serial", [5, 9])
def test_another_board_is_not_called_a_restart(serial):
    frames = frames_of()
    frames["boot"][200:] += 1
    frames["clock"][200:] -= frames["clock"][200]
    for count in ("flow_count", "wheel_count"):
        frames[count][200:] -= frames[count][200]
    at_s = float(frames["host_s"][200])
    events = [*speaks(0.0, "a", 5), *speaks(at_s, "a", serial, 200)]
    review = review_of(RunFile(Path("r.sward"), frames=frames, events=events), rig_from_toml(RIG))
    text = format_text(run_document(review, "metric"))
    assert "board_reset" in [fault.kind for fault in review.faults]
    assert ("Another board was plugged in: are its meter" in text) == (serial == 9)
    assert ("supply plug" in text) == ("The board has restarted" in text) == (serial == 5)
