"""A recorder, as a process of its own, on a plug that comes and goes."""

from __future__ import annotations

import random
import select
import signal
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from host.frames import FRAME_DTYPE
from host.journal import RunReader
from host.pipeline.counts import CountUnwrapper
from tests.host.link.boards import PtyEnd, identity, report
from tests.host.recorder.feeding import until
from tests.host.recorder.processes import run_path, start_recorder


class PluggedBoard:
    """A board on a plug that comes and goes; it counts on meanwhile, and starts anew when its power is cut."""

    def __init__(self, end: PtyEnd) -> None:
        self.boot, self.seq = 7, 0
        self._end = end

    def report_until(self, reached: Callable[[], bool], wait_s: float = 60.0) -> None:
        """Send reports and answer commands until `reached`."""
        deadline = time.monotonic() + wait_s
        while not reached():
            assert time.monotonic() < deadline, "it never came about"
            if self._end.receive(0.0):
                self._end.send(identity(self.boot))
            self._end.send(report(self.seq, self.boot))
            self.seq += 1
            time.sleep(0.01)

    def pull(self, torn: int, unheard: int) -> None:
        """Unplug after `torn` bytes of a report, and take `unheard` more that nobody hears."""
        self._end.send(report(self.seq, self.boot)[:torn])
        self._end.unplug()
        self.seq += unheard


class Totals:
    """Follows a run file and adds up as the pipeline does."""

    def __init__(self, path: Path) -> None:
        self.frames = np.empty(0, dtype=FRAME_DTYPE)
        self.flow = self.wheel = 0
        self.happened: list[str] = []
        self._file, self._reader, self._unwrap = path.open("rb"), RunReader(), CountUnwrapper()

    def __enter__(self) -> Totals:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def read(self) -> Totals:
        batch = self._reader.push(self._file.read())
        self.happened += [one.kind for one in batch.events]
        if len(batch.frames):
            counts = self._unwrap.push(batch.frames, batch.events)
            self.frames, self.flow, self.wheel = batch.frames, int(counts.flow.total[-1]), int(counts.wheel.total[-1])
        return self

    def heard(self, boot: int, seq: int) -> bool:
        frames = self.read().frames
        return bool(len(frames)) and frames[-1]["boot"] == boot and int(frames[-1]["seq"]) >= seq


@pytest.mark.parametrize("cycles", [4, pytest.param(200, marks=[pytest.mark.soak, pytest.mark.timeout(1800)])])
def test_unplugged_and_plugged_in_again_and_again(end: PtyEnd, tmp_path: Path, cycles: int) -> None:
    """Every fourth time the board loses its power as well, so its counts begin at nothing."""
    draw, board = random.Random(200), PluggedBoard(end)
    recorder = start_recorder(end.address, tmp_path / "runs")
    board.report_until(lambda: bool(select.select([recorder.stdout], [], [], 0.0)[0]))
    with Totals(run_path(recorder)) as totals:
        board.report_until(lambda: totals.heard(board.boot, board.seq - 1))
        first, before = int(totals.frames[-1]["seq"]) - totals.flow // 3, 0
        for cycle in range(1, cycles + 1):
            wanted = board.seq + draw.randrange(30)
            board.report_until(lambda wanted=wanted: totals.heard(board.boot, wanted))
            board.pull(draw.randrange(80), draw.randrange(200))
            until(lambda cycle=cycle: totals.read().happened.count("link_lost") == cycle)
            if cycle % 4 == 0:
                before, first = before + int(totals.frames[-1]["seq"]) - first, 0
                board.boot, board.seq = (board.boot + 1) % 256, 0
            end.plug()
            wanted = board.seq
            board.report_until(lambda wanted=wanted: totals.heard(board.boot, wanted))
            pulses = before + int(totals.frames[-1]["seq"]) - first
            assert (totals.flow, totals.wheel) == (3 * pulses, 2 * pulses), f"after {cycle} cycles"
        recorder.send_signal(signal.SIGINT)
        _, errors = recorder.communicate(timeout=60)
        totals.read()
    assert recorder.returncode == 0 and "Traceback" not in errors
    counted = [totals.happened.count(kind) for kind in ("link_lost", "link_back", "board_start")]
    assert counted == [cycles, cycles, cycles // 4]
    print(
        f"{cycles} cycles, {cycles // 4} of them with the board's power lost: {totals.flow} pulses, every count exact"
    )
