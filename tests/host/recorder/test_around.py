"""What stands around the recorder: the control socket, the status line, the follower."""

from __future__ import annotations

import io
import os
import resource
import socket
import stat
import threading
from pathlib import Path
from typing import Any

import pytest

from host.errors import BadInputError, NoAnswerError, NotNowError, UserError
from host.recorder import ask, is_alarm
from host.recorder.control import ControlServer, ask_at, socket_path
from host.recorder.follow import LOOK_S, RunFollower
from host.recorder.status_line import StatusLine, status_text

STATUS: dict[str, Any] = {
    "run_s": 3_725.4,
    "state": "recording",
    "trouble": "",
    "link": "ok",
    "link_trouble": "",
    "lines": 37_254,
    "wire_damage": 0,
    "lines_lost": 0,
    "bytes_waiting": 0,
}


def test_the_socket_is_for_the_user_alone_and_the_same_by_any_path(tmp_path: Path) -> None:
    run = tmp_path / "a.sward"
    run.touch()
    (tmp_path / "link.sward").symlink_to(run)
    path = socket_path(run)
    assert path == socket_path(tmp_path / "link.sward") != socket_path(tmp_path / "b.sward")
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700 and len(str(path)) < 100


def test_a_dead_recorders_socket_is_no_obstacle_and_nonsense_gets_a_sentence(tmp_path: Path) -> None:
    run = tmp_path / "a.sward"
    path = socket_path(run)
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(path))
    with pytest.raises(NoAnswerError, match="no recorder is running"):
        ask(run, {"ask": "status"})
    server = ControlServer(path, lambda request: {"heard": request["x"] + 1})
    try:
        assert ask(run, {"x": 1}) == {"heard": 2}
        with pytest.raises(BadInputError, match="not written as it should be"):
            ask(run, {"x": "1"})
        for line in (b"\xff\n", b"[]\n", b"{" * 70_000 + b"\n"):
            with socket.socket(socket.AF_UNIX) as rude:
                rude.connect(str(path))
                rude.sendall(line)
                assert b'"error"' in rude.recv(4_096)
        assert ask(run, {"x": 2}) == {"heard": 3}
    finally:
        server.close()
    assert not path.exists()


@pytest.mark.parametrize("folder", ["short", "a name that no Unix socket takes" * 4])
def test_a_home_with_a_long_name_is_no_obstacle(tmp_path: Path, folder: str) -> None:
    """The longest path, with its zero: 104 bytes on macOS and the BSDs (unix(4)), 108 on Linux (unix(7))."""
    path = tmp_path / folder / "r.sock"
    path.parent.mkdir()
    server = ControlServer(path, lambda request: {"heard": request["x"]})
    try:
        assert ask_at(path, {"x": 5}, "the recorder", "gone") == {"heard": 5}
        assert not path.stat().st_mode & 0o077 or stat.S_ISSOCK(path.stat().st_mode), "nobody else reads the key"
    finally:
        server.close()
    with pytest.raises(NoAnswerError, match="gone"):
        ask_at(path, {"x": 5}, "the recorder", "gone")


def test_a_program_that_can_open_nothing_more_does_not_say_that_nobody_answers(tmp_path: Path) -> None:
    run = tmp_path / "a.sward"
    server = ControlServer(socket_path(run), lambda request: {"state": "recording"})
    limits = resource.getrlimit(resource.RLIMIT_NOFILE)
    next_free = os.open(os.devnull, os.O_RDONLY)
    os.close(next_free)
    try:
        resource.setrlimit(resource.RLIMIT_NOFILE, (next_free, limits[1]))
        with pytest.raises(NotNowError, match=r"cannot be asked \(too many open files\)") as raised:
            ask(run, {"ask": "status"})
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, limits)
        server.close()
    assert not isinstance(raised.value, NoAnswerError)


def test_a_refusal_arrives_as_what_it_was(tmp_path: Path) -> None:
    def refuse(request: dict[str, Any]) -> dict[str, Any]:
        raise NotNowError("the run is ending")

    server = ControlServer(socket_path(tmp_path / "a.sward"), refuse)
    try:
        with pytest.raises(NotNowError, match="the run is ending"):
            ask(tmp_path / "a.sward", {"ask": "stop"})
        (tmp_path / "a.sward").touch()
        with RunFollower(tmp_path / "a.sward") as follower, pytest.raises(NotNowError):
            follower.status()
    finally:
        server.close()
    with RunFollower(tmp_path / "a.sward") as follower:
        assert follower.status() == {"state": "not running"}


def test_status_in_one_line() -> None:
    assert status_text(STATUS) == "1:02:05  37254 lines  board heard" and not is_alarm(STATUS)
    assert status_text({**STATUS, "run_s": 7_200.9}).startswith("2:00:00  ")
    full = {**STATUS, "state": "disk full", "trouble": "No space left on device", "bytes_waiting": 12_345}
    assert "DISK FULL, 12 kB wait in memory: make room" in status_text(full) and is_alarm(full)
    gone = {**STATUS, "link": "lost", "wire_damage": 3, "lines_lost": 2}
    assert status_text(gone) == "1:02:05  37254 lines  3 damaged  PORT GONE, trying again  2 LINES LOST"
    assert is_alarm(gone)
    assert status_text({**gone, "link_trouble": "port X is in use"}).endswith(
        "PORT GONE, trying again  port X is in use  2 LINES LOST"
    )
    assert "DISK TROUBLE: Input/output error" in status_text({**STATUS, "trouble": "Input/output error"})


def test_the_follower_asks_a_recorder_that_writes_only_now_and_then(tmp_path: Path) -> None:
    path = tmp_path / "a.sward"
    path.write_bytes(b"0123456789")
    now, asked, state = [0.0], [], ["recording"]

    def recorder(run: Path, request: dict[str, Any]) -> dict[str, Any]:
        asked.append(request["ask"])
        return {"state": state[0]} if request["ask"] == "status" else {"data": "abcdef"[request["from"] - 10 :]}

    with RunFollower(path, recorder, lambda: now[0]) as follower:
        assert follower.poll() == b"0123456789"
        for _ in range(100):
            now[0] += LOOK_S / 20
            assert follower.poll() == b""
        assert len(asked) <= 6
        state[0] = "disk full"
        now[0] += LOOK_S
        assert follower.poll() == b"abcdef" and follower.poll() == b""
        with path.open("ab") as file:
            file.write(b"abcdefghi")
        state[0] = "recording"
        assert follower.poll() == b"ghi", "what was shown from memory is not shown again"


def test_a_run_that_is_not_there_cannot_be_followed(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="cannot be followed"):
        RunFollower(tmp_path / "none.sward")


def test_a_held_up_terminal_does_not_hold_up_the_end() -> None:
    from host.recorder.status_line import StatusLine

    class HeldUp(io.StringIO):
        def isatty(self) -> bool:
            return True

        def write(self, text: str) -> int:
            raise OSError("gone")

    with StatusLine(lambda: STATUS, HeldUp()):
        pass


def test_away_from_a_terminal_only_what_changes_is_printed() -> None:
    """Into a log: nothing while all is well, a line for each new state, no second one for the same."""
    states = ["recording", "recording", "disk full", "disk full", "recording", "stopping"]
    shown = threading.Event()

    def status() -> dict[str, Any]:
        state = states.pop(0) if len(states) > 1 else states[0]
        if state == "stopping":
            shown.set()
        return STATUS | {"state": state, "trouble": state if state == "disk full" else ""}

    out = io.StringIO()
    with StatusLine(status, out):
        assert shown.wait(60)
    lines = out.getvalue().splitlines()
    assert len(lines) == 2 and "disk full" in lines[0] and "full" not in lines[1]


def test_a_lost_file_is_told_at_once_where_there_is_no_terminal_too() -> None:
    """A service's log, or that of a demo: the states of recorder and port are as before."""
    out, asked, over = io.StringIO(), [0], threading.Event()

    def status() -> dict[str, Any]:
        asked[0] += 1
        if asked[0] == 4:
            over.set()
        return STATUS if asked[0] < 2 else {**STATUS, "rescued": ["the run file a.sward was lost: it was deleted"]}

    with StatusLine(status, out):
        assert over.wait(30)
    assert out.getvalue().count("FILE LOST: the run file a.sward was lost") == 1
