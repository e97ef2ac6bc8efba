"""What recorder and page server cost at the board's own pace, and how long each command takes to begin.

Run as `python -m tests.bench.bench_cost` (`--seconds 60`, `--screens 4`; `--fixed`: a board that stays at 100 ms). The
share is processor time from /proc over the measured time, of one core. Beside it a loop of known work runs before and
after, so that a slow or a busy machine shows: the share is also given in units of that loop. Cold start is the median
of five fresh processes, as a ratio to `python -c pass` and to `python -c "import pandas"`; what counts is processor
time, which is what an idle machine needs from start to end and hardly moves when the machine is busy.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from host.cli.commands import COMMANDS
from tests.bench.bench_latency import other_screen
from tests.dashboards.processes import RecorderProcess, Server
from tests.dashboards.walking import BoardOnPty
from tests.soak.gauges import memory_mb, processor_s

GOAL_PERCENT = 15.0
STARTS = 5
LOOPS = 2_000_000
ROOT = Path(__file__).parents[2]
RECORDING = next((ROOT / "recordings").glob("*.sward"))
RIG = ROOT / "host" / "rig" / "examples" / "harrow-lea-walker.toml"


def known_work_s() -> float:
    """Processor seconds that a loop of LOOPS additions takes at the moment."""
    began = time.process_time()
    total = 0
    for number in range(LOOPS):
        total += number
    return time.process_time() - began


def shares(screens: int, seconds: float, *, fixed: bool = False) -> dict[str, tuple[float, float]]:
    """Percent of one core that recorder and page server use, with `screens` screens that take every message, and the
    memory that each holds at the end: all of it, what it shares with others by share (PSS), in MB.
    """
    with tempfile.TemporaryDirectory() as folder:
        runs = Path(folder)
        board = BoardOnPty(fixed=fixed)
        recorder = RecorderProcess(board.port, runs, runs / "recorder.log")
        server = Server(runs, runs / "server.log")
        stop = threading.Event()
        others = [other_screen(server, stop) for _ in range(screens)]
        pids = {"recorder": recorder.child.pid, "page server": server.child.pid}
        try:
            time.sleep(10)  # what a start costs is not what is measured here
            before, began = {name: processor_s(pid) for name, pid in pids.items()}, time.monotonic()
            time.sleep(seconds)
            took = time.monotonic() - began
            return {
                name: (100 * (processor_s(pid) - before[name]) / took, memory_mb(pid)) for name, pid in pids.items()
            }
        finally:
            stop.set()
            for other in others:
                other.join()
            server.end()
            recorder.end()
            board.close()


def cold_start_s(arguments: list[str]) -> float:
    """Processor seconds of a fresh process from start to end, median of STARTS."""
    times = []
    for _ in range(STARTS):
        child = subprocess.Popen(
            [sys.executable, *arguments], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=ROOT
        )
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode not in (0, 1):  # 1: done, with a finding
            raise RuntimeError(f"exit code {child.returncode}: {' '.join(arguments)}")
        times.append(used.ru_utime + used.ru_stime)
    return statistics.median(times)


def real_uses(folder: Path) -> dict[str, list[str]]:
    """A small use of commands that end by themselves; nothing is left behind outside `folder`."""
    runs = folder / "runs"
    runs.mkdir()
    run = runs / "clog.sward"
    run.write_bytes(RECORDING.read_bytes())
    return {
        "review": ["review", str(run)],
        "review --no-faults": ["review", str(run), "--no-faults"],
        "runs": ["runs", "--runs", str(runs)],
        "plan rate": ["plan", "rate", "--rig", str(RIG), "--speed", "2.5 mph"],
        "mix": ["mix", "--rig", str(RIG), "--product", "1.5 fl oz/1000 ft2", "--area", "60 ft x 25 ft"],
        "simulate --list": ["simulate", "--list"],
    }


def print_cold_starts() -> None:
    """A line for each command."""
    plain, pandas = cold_start_s(["-c", "pass"]), cold_start_s(["-c", "import pandas"])
    print(f"python -c pass {plain:.3f} s, import pandas {pandas:.3f} s; the commands below as ratios to these two")
    with tempfile.TemporaryDirectory() as folder:
        uses = {f"{name} --help": [name, "--help"] for name in COMMANDS} | real_uses(Path(folder))
        for name, arguments in uses.items():
            took = cold_start_s(["-m", "host.cli.main", *arguments])
            print(f"{name:22} {took:.3f} s  {took / plain:5.1f}  {took / pandas:5.2f}", flush=True)


def main() -> int:
    """Measure and print; 1 when the goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--seconds", type=float, default=60.0, help="measured time")
    parser.add_argument("--screens", type=int, default=4, help="screens that are connected at once")
    parser.add_argument("--fixed", action="store_true", help="the board stays at 100 ms, whatever the rig file asks")
    parser.add_argument("--only", choices=("share", "start"), help="leave the other half out")
    args = parser.parse_args()
    together = 0.0
    if args.only != "start":
        before = known_work_s()
        share = shares(args.screens, args.seconds, fixed=args.fixed)
        work = (before + known_work_s()) / 2
        together = sum(percent for percent, _ in share.values())
        words = ", ".join(f"{name} {percent:.1f} % ({memory:.0f} MB)" for name, (percent, memory) in share.items())
        pace = f"{args.screens} screens at {10 if args.fixed else 20} lines/s"
        print(f"{pace}: {words} of one core, together {together:.1f} %", end="")
        loops = together / 100 / work
        print(f" (goal {GOAL_PERCENT:.0f} %); each second as much as {loops:.2f} loops of {LOOPS} additions in Python")
    if args.only != "share":
        print_cold_starts()
    return int(together >= GOAL_PERCENT)


if __name__ == "__main__":
    sys.exit(main())
