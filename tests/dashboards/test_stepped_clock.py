"""Somebody sets the computer's clock during a run: an hour on, an hour back. Nothing that is measured moves."""

from __future__ import annotations

import json
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from host.journal import read_run
from tests.dashboards.processes import RecorderProcess, Server, wait_until
from tests.dashboards.walking import BoardOnPty

SOURCE = Path(__file__).parents[1] / "soak" / "stepped_clock.c"
HOUR_S = 3_600
LINES = 15  # between two steps of the clock


@pytest.fixture
def set_clock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[int], None]]:
    """Sets the wall clock of all processes started from now on so many seconds ahead."""
    if shutil.which("cc") is None:
        pytest.skip("a C compiler is not installed")
    library, step = tmp_path / "stepped_clock.so", tmp_path / "step"
    subprocess.run(["cc", "-shared", "-fPIC", "-O2", "-Wall", "-o", library, SOURCE, "-ldl"], check=True)

    def set_to(seconds: int) -> None:
        new = step.with_suffix(".new")
        new.write_text(str(seconds), encoding="ascii")
        new.replace(step)  # at once: never read half written

    set_to(0)
    monkeypatch.setenv("STEPPED_CLOCK", str(step))
    monkeypatch.setenv("LD_PRELOAD", str(library))
    yield set_to


def wall_clock_of_a_child() -> float:
    done = subprocess.run([sys.executable, "-c", "import time; print(time.time())"], capture_output=True, check=True)
    return float(done.stdout)


@pytest.mark.journey
def test_a_clock_that_is_set_moves_neither_recording_nor_page(
    set_clock: Callable[[int], None], runs: Path, tmp_path: Path, serve: Callable[..., Server]
) -> None:
    set_clock(HOUR_S)
    assert wall_clock_of_a_child() - time.time() == pytest.approx(HOUR_S, abs=30)
    set_clock(0)
    board, began = BoardOnPty(), datetime.now().astimezone()
    with closing(board), RecorderProcess(board.port, runs, tmp_path / "recorder.log") as recorder:
        server = serve()
        ages = []
        for step in (0, HOUR_S, 0, -HOUR_S, 0):
            set_clock(step)
            frame = server.row().get("frame", 0)
            wait_until(lambda wanted=frame + LINES: server.row().get("frame", 0) >= wanted, "the page goes on")
            ages.append(server.newest()["age_ms"])
        assert recorder.end(signal.SIGINT) == 0
    run = read_run(recorder.run)
    assert run.complete and abs((datetime.fromisoformat(run.header["started"]) - began).total_seconds()) < 60
    sent = np.array([board.sent_at[seq] for seq in run.frames["seq"].tolist()])
    late = run.frames["host_s"] - sent
    assert np.ptp(late) < 1.0, "the recording's times are those of the lines"
    assert max(ages) < 2_000, ages
    done = subprocess.run(
        [sys.executable, "-m", "host.cli.main", "review", recorder.run, "--json"], capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr
    health = json.loads(done.stdout)["recording"]
    assert health["duration_s"] == pytest.approx(sent[-1] - sent[0], abs=0.5)
    assert health["clock_scale"] == pytest.approx(1.0, abs=0.1)
