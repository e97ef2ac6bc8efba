"""Commands that read run files, given damaged ones: an answer or one sentence, and never anything lost."""

from __future__ import annotations

import math
from pathlib import Path

from hypothesis import strategies as st

from dashboards.live.run_screen import RunScreen
from host.cli.record import note_of
from host.errors import UserError
from host.journal import read_run
from host.journal.records import NOTE, RAW, json_record, seal
from host.simulate.replay import ReplaySource
from tests.host.damage.hostile import few_and_many, one_sentence_or_an_answer, scratch_folder
from tests.host.damage.run_files import changed_bytes, nonsense, sound_run

HOME = scratch_folder()
GOOD = HOME / "good.sward"
SOUND = sound_run(GOOD)
RUN = HOME / "runs" / "damaged.sward"
COMMANDS = {
    "review": [["review", RUN], ["review", RUN, "--json", "--units", "metric"]],
    "report": [["report", RUN, "--out", HOME / "out.html"]],
    "compare": [["compare", RUN, GOOD], ["compare", GOOD, RUN, "--json"]],
    "export": [["export", RUN, "--out", HOME / "out.csv"]],
    "runs": [["runs", "--runs", RUN.parent], ["runs", "--runs", RUN.parent, "--json"]],
    "season": [["season", "--runs", RUN.parent, "--out", HOME / "out.csv", "--out", HOME / "out.html"]],
}


def _commands(data: bytes, name: str) -> None:
    for left in (*HOME.glob("out.*"), *RUN.parent.glob(".*")):
        left.unlink()
    RUN.parent.mkdir(exist_ok=True)
    RUN.write_bytes(data)
    for arguments in COMMANDS[name]:
        one_sentence_or_an_answer(arguments)
    assert RUN.read_bytes() == data, "a run file is never changed"


def _replayed(data: bytes) -> None:
    RUN.parent.mkdir(exist_ok=True)
    RUN.write_bytes(data)
    try:
        source = ReplaySource(RUN)
    except UserError:
        return
    assert source.duration_s >= 0
    assert source.due(math.inf) and source.over


def test_a_sound_record_with_a_bad_escape_is_left_out_of_a_replay(tmp_path: Path) -> None:
    path = tmp_path / "bad.sward"
    path.write_bytes(GOOD.read_bytes() + seal(RAW, 99.0, b"\\q"))
    source = ReplaySource(path)
    assert source.damaged == 1 and source.duration_s < 99


def test_half_a_character_in_a_note_is_shown_and_exported(tmp_path: Path) -> None:
    """A terminal of another encoding gives the recorder such notes, and JSON can hold them."""
    run = tmp_path / "half.sward"
    note = json_record(
        NOTE, read_run(GOOD).events[-1].host_s, {"key": "operator", "value": "H\udce4ger \ud83d\ude00 \ud800"}
    )
    run.write_bytes(GOOD.read_bytes().replace(b"\nZ ", b"\n" + note + b"Z "))
    assert [one.detail["value"] for one in read_run(run).notes][-1] == "H?ger 😀 ?"
    for arguments in (["review", run], ["review", run, "--json"], ["report", run, "--out", tmp_path / "run.html"]):
        assert one_sentence_or_an_answer(arguments) < 2
    assert note_of("operator=H\udce4ger") == ("operator", "H?ger")


def _shown(data: bytes, piece: int) -> None:
    """The live page's reading of it, in pieces as they would come."""
    screen = RunScreen("damaged")
    for start in range(0, len(data), piece):
        screen.push(data[start : start + piece])
        screen.row("ok")
    assert "\n" not in screen.notice


def _files() -> st.SearchStrategy[bytes]:
    return nonsense(SOUND) | nonsense(SOUND) | changed_bytes(SOUND)


test_commands, test_commands_many = few_and_many(_commands, _files(), st.sampled_from(sorted(COMMANDS)))
test_replay, test_replay_many = few_and_many(_replayed, _files(), few=30)
test_live, test_live_many = few_and_many(_shown, _files(), st.sampled_from([700, 9_000, 1 << 20]), few=15)
