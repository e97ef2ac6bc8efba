"""What the live page says of a board while it sprays: dropped, refused, unsent, not assigned; and for how long."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from dashboards.live.board_notices import BoardNotices
from dashboards.live.run_screen import RunScreen
from host.cli.main import main
from host.journal import records
from host.pipeline import Pipeline, Why
from host.review.apart import REASONS
from host.review.review import review_run
from host.review.run_document import run_document
from host.rig import rig_from_toml
from tests.dashboards import writing
from tests.host.pipeline.made import IDENTITY, RIG, made_frames, steady
from tests.independent_board.record_edges import FOLDER
from tests.test_samples import SAMPLES

PIECE = 4096  # bytes: about two seconds of a run


def notices_of(path: Path) -> list[str]:
    """Each notice that was shown, in order."""
    screen = RunScreen(path.stem)
    data, shown = path.read_bytes(), [""]
    for begin in range(0, len(data), PIECE):
        screen.push(data[begin : begin + PIECE])
        if (notice := screen.row()["notice"]) != shown[-1]:
            shown.append(notice)
    return shown


def simulated(name: str, folder: Path) -> Path:
    path = folder / f"{name}.sward"
    assert main(["simulate", name, "--out", str(path)]) == 0
    return path


def test_dropped_pulses_are_said_with_their_number_and_then_no_more(tmp_path):
    first, *_, last = [notice for notice in notices_of(simulated("edge-dropped-pulses", tmp_path)) if notice]
    # The report says how many, the state line up to ten seconds later of which input.
    assert first.startswith("The board dropped ") and "of flow or of wheel" in first
    assert last.startswith("The board dropped 51 flow pulses.")


def test_dropped_pulses_of_a_board_of_version_1_0(tmp_path):
    (path,) = FOLDER.glob("*dropped-pulses.sward")
    assert any("The board dropped 12 pulses, of flow or of wheel" in notice for notice in notices_of(path))


def test_nothing_is_ordered_by_a_rate_of_which_pulses_are_missing(tmp_path):
    path = simulated("edge-refused-pulses", tmp_path)
    screen, words = RunScreen(path.stem), set()
    data = path.read_bytes()
    for begin in range(0, len(data), PIECE):
        screen.push(data[begin : begin + PIECE])
        words.add(screen.row()["words"])
    assert words <= {"Waiting", "Not spraying", "Measuring…", "Rate not known", "Rate in doubt", "Stop"}


def test_a_speed_that_is_not_measured_is_neither_shown_nor_asked_for(tmp_path):
    path = simulated("edge-board-without-wheel", tmp_path)
    screen, data, shown = RunScreen(path.stem), path.read_bytes(), set()
    for begin in range(0, len(data), PIECE):
        if screen.push(data[begin : begin + PIECE]):
            row = screen.row()
            shown.add((row["pace"], row["pace_wanted"], row["rate"]))
    assert shown == {("–", "–", "–")}


def test_refused_pulses_are_said_while_they_are_refused(tmp_path):
    notices = notices_of(simulated("edge-refused-pulses", tmp_path))
    assert any("One flow pulse in two is refused: too fast for its filter of 35 ms" in notice for notice in notices)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("restart", "The board restarted; what was pumped while it was down is not counted."),
        ("silent-over-a-turn", "Nothing came from the board. "),
    ],
)
def test_a_restart_and_a_silence_are_said(name, words):
    (path,) = FOLDER.glob(f"*{name}.sward")
    (said,) = {notice for notice in notices_of(path) if notice}
    assert said.startswith(words)
    if name != "restart":
        assert "mL in " in said and "not assigned to any ground" in said


def test_lines_that_the_board_could_not_send_are_said(tmp_path):
    notices = notices_of(simulated("fault-link-stalled", tmp_path))
    assert any("The board could not send " in notice and "The counts lost nothing." in notice for notice in notices)
    assert notices[-1] == "", "a minute later it is said no more"


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.sward")), ids=lambda path: path.stem[16:])
def test_the_end_of_a_run_has_the_verdict_of_its_review(path):
    screen, data = RunScreen(path.stem), path.read_bytes()
    begin = data.rindex(b"run_end") - 200
    screen.push(data[:begin])
    assert screen.row()["verdict"] == ""
    for place in range(begin, len(data), 50):
        screen.push(data[place : place + 50])
    review = review_run(path, watch_faults=False)
    assert screen.row()["verdict"] == run_document(review, review.rig.units).answer != ""


def test_all_is_well_says_nothing(tmp_path):
    (path,) = FOLDER.glob("*every-1000-ms.sward")
    assert notices_of(path) == [""]


def test_a_run_that_ended_without_a_report_is_no_run_without_spraying(tmp_path: Path) -> None:
    path = tmp_path / "silent.sward"
    writer = writing.begin(path)
    writer.event("run_end", 60.0, reason="stopped")
    writer.close("complete", "stopped", 0, 60.0)
    screen = RunScreen(path.stem)
    screen.push(path.read_bytes())
    row = screen.row()
    assert row["verdict"] == "What was sprayed is not known: no report of the board was read."
    assert (row["tank"], row["area"], row["frame"]) == ("–", "–", -1)


def test_that_the_computer_slept_is_said_for_a_minute(tmp_path):
    lines = (SAMPLES / "runs" / "2026-11-format-1.1.sward").read_bytes().splitlines(keepends=True)  # of 90 s
    at_s = records.parse(lines[100][:-1]).host_s
    lines.insert(101, records.json_record("E", at_s, {"kind": "computer_paused", "seconds": 60.2}))
    path = tmp_path / "a.sward"
    path.write_bytes(b"".join(lines))
    said = ["The computer slept for 60 s. Nothing was recorded meanwhile." in notice for notice in notices_of(path)]
    assert any(said) and not said[-1]


def noticed(frames, stated_ms=100, piece=7):
    """What is said after the last of `frames`, which come in pieces."""
    pipeline, board = Pipeline(rig_from_toml(RIG), watch_faults=False), BoardNotices()
    board.stated(stated_ms)
    for place in range(0, len(frames), piece):
        board.push(pipeline.push(frames[place : place + piece], [] if place else [IDENTITY]))
    return board.messages(pipeline, "metric")


@pytest.mark.parametrize("piece", [1, 7, 500])
def test_an_interval_that_the_board_does_not_keep_to_is_said_and_lost_reports_are_none(piece):
    (said,) = noticed(steady(100, step_s=0.25), piece=piece)
    assert said.startswith("The board says that it reports every 100 ms, and reports come every 250 ms")
    assert noticed(steady(100), piece=piece) == []
    assert noticed(steady(400)[::4], piece=piece) == []


def test_a_board_that_goes_on_at_its_own_interval_though_the_rig_file_asks_for_another_is_said_for_a_minute():
    pipeline, board = Pipeline(rig_from_toml('report_interval = "50 ms"\n' + RIG), watch_faults=False), BoardNotices()
    board.stated(100)
    said = []
    frames = steady(900)
    for place in range(0, len(frames), 10):
        board.push(pipeline.push(frames[place : place + 10], [] if place else [IDENTITY]))
        said.append(
            "asks for a report every 50 ms; the board reports every 100 ms" in str(board.messages(pipeline, "us"))
        )
    assert not any(said[:5]) and all(said[6:60]) and not any(said[66:])


def test_a_switch_that_the_flow_contradicts_is_said_while_it_sprays():
    """On 0.4 s before the water comes and 0.4 s after it has gone, in both passes."""
    on = np.tile(np.repeat([False, True, False], (20, 120, 30)), 2)
    flow = np.tile(np.repeat([0.0, 40.0, 0.0], (24, 112, 34)), 2)
    (said,) = noticed(made_frames(flow, np.full(len(on), 10.0), on))
    assert said.startswith("The spray switch was on for 0.8 s more than the water flowed, in 2 of 2 passes")


def test_ground_of_which_nobody_knows_what_it_got_is_told_once_for_each_reason():
    """Meter and wheel stop counting in the first pass, with the pressure up: what the next ones get is not known."""
    passes = [(20, 40.0, 10.0, True), *((6, 0.0, 0.0, False), (20, 0.0, 0.0, True)) * 2, (6, 0.0, 0.0, False)]
    columns = [np.concatenate([np.full(round(10 * part[0]), part[of]) for part in passes]) for of in (1, 2, 3)]
    pipeline, notices = Pipeline(rig_from_toml(RIG)), BoardNotices()
    notices.push(pipeline.push(made_frames(*columns[:2], columns[2].astype(bool)), [IDENTITY]))
    said = [text for text in notices.messages(pipeline, "metric") if "neither meter nor wheel" in text]
    assert said == [f"{REASONS[Why.NEITHER]}. What the ground got in these 20 s is not known."]
