"""A whole day of spraying, faster than real: emulated sprayer, recorder, page and one screen as processes of their own.

Run as `python -m tests.soak.long_day --hours 24 --speed 20 --out FOLDER`; it prints a line for every minute and a
summary, and needs HOURS / SPEED of real time.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import threading
import time
from dataclasses import asdict, dataclass
from pathlib import Path

from tests.dashboards.processes import Process, Server, wait_until
from tests.soak.gauges import own_memory_kb, processor_s

RIG = Path(__file__).parents[2] / "host" / "simulate" / "scenarios" / "rigs" / "bowling-green.toml"
PASSES_PER_HOUR = 90  # more than there is time for
PASSES_PER_TANK = 14


@dataclass(frozen=True)
class Sample:
    """How recorder and page server stood `real_s` after the screen came: memory of their own, processor time."""

    real_s: float
    recorder_kb: int
    server_kb: int
    recorder_cpu_s: float
    server_cpu_s: float
    bytes: int
    screen_frame: int
    longest_wait_s: float  # of the screen for a newer frame, so far


@dataclass(frozen=True)
class Day:
    """What a day left behind; `broken` says how the screen was cut off, empty if it was not."""

    run: Path
    truth: Path
    samples: list[Sample]
    broken: str


class Screen(threading.Thread):
    """Takes every message."""

    def __init__(self, address: str) -> None:
        super().__init__(daemon=True)
        self.frame, self.longest_wait_s, self.broken = -1, 0.0, ""
        self._address = address.replace("http", "ws") + "/live/stream"
        self._over = threading.Event()
        self.start()

    def stop(self) -> None:
        self._over.set()
        self.join(15)

    def run(self) -> None:
        from websockets.exceptions import WebSocketException
        from websockets.sync.client import connect

        from tests.dashboards.sessions import cookie_header

        newer = time.monotonic()
        try:
            with connect(self._address, additional_headers=cookie_header()) as stream:
                while not self._over.is_set():
                    frame = json.loads(stream.recv(10))["row"].get("frame", -1)
                    stream.send("k")
                    if frame > self.frame:
                        now = time.monotonic()
                        self.longest_wait_s = max(self.longest_wait_s, now - newer)
                        self.frame, newer = frame, now
        except (OSError, WebSocketException) as error:
            self.broken = f"{type(error).__name__}: {error}"


def scenario(hours: float) -> str:
    """So many hours on the bowling green, with a refill whenever the tank is used up."""
    passes = int(PASSES_PER_HOUR * hours) + PASSES_PER_TANK
    refills = list(range(PASSES_PER_TANK, passes, PASSES_PER_TANK))
    return (
        f'title = "{hours:g} hours"\nseed = 24\nrig = "{RIG}"\nduration = "{hours:g} h"\n'
        f'[walk]\npasses = {passes}\nlength = "38 m"\nturn = "8 s"\nrefill_after = {refills}\nrefill = "2 min"\n'
        '[board]\nclock_error = "0.2 %"\n'
    )


def run_day(folder: Path, hours: float, speed: float, every_s: float) -> Day:
    """Record `hours` of emulated time, looking at the processes every `every_s`.

    Recorder and page server are started cold: a fork of the preloader has the pages' packages in its memory, too.
    """
    file, port, truth, runs = (folder / name for name in ("day.toml", "port", "truth.json", "runs"))
    file.write_text(scenario(hours), encoding="utf-8")
    runs.mkdir()
    served = ["simulate", str(file), "--speed", f"{speed:g}", "--link", str(port), "--truth", str(truth)]
    board = Process(["-m", "host.cli.main", *served], folder / "board.log")
    started = [board]
    samples: list[Sample] = []
    try:
        wait_until(port.exists, "the emulated port", 60.0)
        command = ["-m", "host.cli.main", "record", "--port", str(port), "--rig", str(RIG), "--runs", str(runs)]
        started.insert(0, recorder := Process(command, folder / "recorder.log", cold=True))
        run: Path = wait_until(lambda: next(runs.glob("*.sward"), None), "a run file", 60.0)
        started.insert(1, server := Server(runs, folder / "server.log", cold=True))
        screen = Screen(server.address)
        began = time.monotonic()
        pids = (recorder.child.pid, server.child.pid)
        while board.child.poll() is None:
            now = time.monotonic()
            gauges = [*map(own_memory_kb, pids), *map(processor_s, pids)]
            samples.append(Sample(now - began, *gauges, run.stat().st_size, screen.frame, screen.longest_wait_s))
            print(json.dumps(asdict(samples[-1])), flush=True)
            while board.child.poll() is None and time.monotonic() - now < every_s:
                time.sleep(0.2)
        screen.stop()
    finally:
        for process in started:
            process.end()
    return Day(run, truth, samples, screen.broken)


def main() -> int:
    """Run a day and print what became of the memory; 1 when the screen was cut off."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--hours", type=float, default=24.0, help="emulated hours")
    parser.add_argument("--speed", type=float, default=20.0, help="times real time")
    parser.add_argument("--out", type=Path, help="folder that keeps the run and the logs")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = args.out or Path(made)
        folder.mkdir(parents=True, exist_ok=True)
        day = run_day(folder, args.hours, args.speed, 60.0)
        first, last = day.samples[min(1, len(day.samples) - 1)], day.samples[-1]
        print(f"{args.hours:g} h at {args.speed:g} times real time, {last.screen_frame} frames on the screen")
        print(f"memory after a minute and at the end, kB: recorder {first.recorder_kb}, {last.recorder_kb}; ", end="")
        print(f"page server {first.server_kb}, {last.server_kb} {day.broken}")
    return int(bool(day.broken))


if __name__ == "__main__":
    sys.exit(main())
