"""The firmware on a port, recorded by `swardflow record` as any board would be: it is asked, told, and obeys."""

import json
import os
import pty
import signal
import socket
import subprocess
import time
import tty
from collections.abc import Callable

import pytest

from host.cli.main import main
from tests.host.recorder.processes import start_recorder, swardflow
from tests.other_firmware.board import Board, Build, Restart
from tests.other_firmware.boom import Boom, Walk, walked
from tests.other_firmware.cases import ALL
from tests.other_firmware.filters import REST
from tests.other_firmware.rig import rig_file
from tests.other_firmware.serve import serve
from tests.other_firmware.wire import BUZZER, LIGHT

WALK = Walk(passes=1, length_m=12.0, turn_s=1.0, rest_s=3.0)
FASTER = 6  # the world's seconds in one of ours: counts know no clock, so volume and area stay what they are
WAITS_S = 2.0  # the walker waits here until the host has set the filter, however busy the computer is


def patient(ready: Callable[[], bool]) -> Callable[[], float]:
    """A clock that runs FASTER, but no further than WAITS_S until `ready`."""
    spent, last = 0.0, float("inf")  # it begins when it is first looked at

    def clock() -> float:
        nonlocal spent, last
        now = time.monotonic()
        spent, last = spent + FASTER * max(0.0, now - last), now
        if not ready():
            spent = min(spent, WAITS_S)
        return spent

    return clock


@pytest.fixture
def recorded(tmp_path, capsys):
    """Serve a board, record it until the walk is over, and give what the review, the terminal and the board say."""

    def record(board: Board, clock: Callable[[], float] = time.monotonic, *, over: str = "socket"):
        rig = tmp_path / "rig.toml"
        rig.write_text(rig_file(board.world.boom), encoding="utf-8")
        listening = socket.create_server(("127.0.0.1", 0))
        listening.settimeout(60)
        master, slave = pty.openpty()
        tty.setraw(slave)
        url = f"socket://127.0.0.1:{listening.getsockname()[1]}" if over == "socket" else os.ttyname(slave)
        recorder = start_recorder(url, tmp_path, "--rig", str(rig))
        port = listening.accept()[0].detach() if over == "socket" else os.dup(master)
        try:
            serve(board, port, clock, board.world.lasts)
        finally:
            recorder.send_signal(signal.SIGINT)
            said = recorder.communicate(timeout=60)
            for one in (port, master, slave):
                os.close(one)
            listening.close()
        runs = list(tmp_path.glob("*.sward"))
        assert len(runs) == 1, said
        capsys.readouterr()
        assert main(["review", str(runs[0]), "--json", "--no-faults"]) == 0
        return json.loads(capsys.readouterr().out), "".join(said)

    return record


def test_a_reeds_filter_is_set_by_the_host(recorded):
    """Unfiltered, this reed is counted two and a half times; the board starts with a rule that lets it through."""
    world = walked(Boom(reed=True), WALK, 4)
    board = Board(Build(), world)
    review, _ = recorded(board, patient(lambda: board.filters[1] == (REST, 8000)))
    (found,), (true,) = review["passes"], world.passes
    assert review["totals"]["volume_L"] == pytest.approx(world.litres, rel=0.005)
    assert found["distance_m"] == pytest.approx(true.ground_m, rel=0.02)


@pytest.mark.journey
def test_a_reeds_filter_is_set_again_after_a_restart(recorded):
    world = walked(Boom(reed=True), WALK, 4)
    review, _ = recorded(Board(Build(), world, restarts=(Restart(1.0, 0.5),)))
    assert review["recording"]["restarts"] == 1
    assert review["passes"][0]["distance_m"] == pytest.approx(world.passes[0].ground_m, rel=0.02)


@pytest.mark.journey
@pytest.mark.parametrize(
    ("build", "over", "interval_ms"),
    [
        (Build(), "pty", 100),
        (Build(tells_identity=False), "socket", 100),
        (Build(room=256), "pty", 20),
    ],
    ids=["1.1", "no identity", "20 ms"],
)
def test_recorded_in_real_time_it_is_reviewed_as_it_was(recorded, build, over, interval_ms):
    world = walked(Boom(), WALK, 6)
    board = Board(build, world, interval_ms=interval_ms)
    review, said = recorded(board, over=over)
    totals = review["totals"]
    assert totals["volume_L"] == pytest.approx(world.litres, rel=0.005)
    assert totals["rate_L_per_100_m2"] == pytest.approx(100 * world.litres / world.ground_m2, rel=0.01)
    assert review["recording"]["wire_damage"] == 0
    assert ("never said who it is" in said) == (not build.tells_identity)


@pytest.mark.journey
def test_a_reed_that_a_board_of_wire_1_0_cannot_filter_is_said(recorded):
    world = walked(Boom(reed=True), WALK, 6)
    _, said = recorded(Board(Build(protocol="1.0"), world), patient(lambda: True))
    assert "cannot filter it" in said


@pytest.mark.journey
def test_bring_up_finds_nothing_amiss(tmp_path):
    """It puts a board through every command, right and wrong: the answers were written by somebody else."""
    world = walked(Boom(), Walk(passes=1, length_m=3.0, rest_s=120.0), 6)
    board = Board(Build(fitted=ALL | BUZZER | LIGHT), world)
    (tmp_path / "rig.toml").write_text(rig_file(world.boom), encoding="utf-8")
    with socket.create_server(("127.0.0.1", 0)) as listening:
        listening.settimeout(60)
        url = f"socket://127.0.0.1:{listening.getsockname()[1]}"
        words = swardflow("bringup", "--port", url, "--no-hands", "--rig", tmp_path / "rig.toml", "--listen", "5")
        bringing = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
        with listening.accept()[0] as port:
            serve(board, port.fileno(), time.monotonic, world.lasts)
        said = bringing.communicate(timeout=60)[0]
    assert bringing.returncode == 0, said
    assert "21 commands, right and wrong ones, answered as they should be" in said
