"""Run files: reading one with every record verified beside pandas.read_csv on the same bytes; memory; line to file.

Run it as a script: python tests/bench/bench_journal.py [--frames 360000] [--repeats 5]

360,000 frames are ten hours at ten lines a second. read_csv gets the raw records alone, from memory, with explicit
types (hexadecimal columns can only be read as text), and checks nothing; read_run gets the file. Each repeat times both
in turn, so that a busy machine hits them alike; the median counts. Memory is the growth of the greatest resident size
of a process of its own over reading the file. The last part times a recorder on a pseudo-terminal, in a process of its
own, from the last byte of a line to its record in the file.
"""

from __future__ import annotations

import argparse
import io
import os
import subprocess
import sys
import tempfile
import time
import tty
from importlib.resources import files
from pathlib import Path
from statistics import median
from time import perf_counter

import numpy as np
import pandas as pd

from firmware_protocol.messages import Report, encode_report
from host.journal import JournalWriter, Snapshot, read_run

_MEMORY = """
import re, sys
from pathlib import Path
from host.journal import read_run

def greatest():
    return int(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1]) * 1024

small, large = map(Path, sys.argv[1:])
read_run(small)
before = greatest()
run = read_run(large)
print(greatest() - before, run.frames.nbytes)
"""


def report_line(seq: int) -> bytes:
    """A report whose fields all move, ten to the second."""
    clock = seq * 100_000 % 2**32
    counts = (seq * 7 % 2**32, (clock - 3_000) % 2**32, seq % 2**32, (clock - 40_000) % 2**32)
    return encode_report(Report(3, seq % 65_536, clock, *counts, 8_000 + seq % 400, 480, 530, 1, 0, 0))


def write_run(path: Path, frames: int) -> None:
    """A run of so many frames."""
    writer = JournalWriter(path, Snapshot({}, 'name = "bench"\n'))
    for seq in range(frames):
        writer.raw_line(report_line(seq), seq * 0.1)
    writer.close("complete", "bench", 0, frames * 0.1)


def reading(path: Path, frames: int, repeats: int) -> tuple[float, float]:
    """Median seconds of read_run on the file and of read_csv on the bytes of its raw records."""
    raw = b"".join(line for line in path.read_bytes().splitlines(keepends=True) if line.startswith(b"L "))
    types = {0: "str", 1: "float64"} | dict.fromkeys(range(2, 15), "str")
    seconds: dict[str, list[float]] = {"run": [], "csv": []}
    for _ in range(repeats):
        start = perf_counter()
        run = read_run(path)
        seconds["run"].append(perf_counter() - start)
        assert len(run.frames) == frames and run.complete
        start = perf_counter()
        table = pd.read_csv(io.BytesIO(raw), sep=" ", header=None, dtype=types)
        seconds["csv"].append(perf_counter() - start)
        assert len(table) == frames
    return median(seconds["run"]), median(seconds["csv"])


def memory(folder: Path, path: Path) -> tuple[int, int]:
    """Bytes by which reading `path` raises a process's greatest size, and bytes of the frames it returns."""
    small = folder / "small.sward"
    write_run(small, 1_000)
    done = subprocess.run(
        [sys.executable, "-c", _MEMORY, str(small), str(path)], capture_output=True, text=True, check=True
    )
    grown, frames = map(int, done.stdout.split())
    return grown, frames


def line_to_file(folder: Path, lines: int) -> list[float]:
    """Seconds from writing a line's last byte to a pseudo-terminal until its record stands in the run file."""
    master, slave = os.openpty()
    tty.setraw(slave)
    rig = str(files("host.rig").joinpath("examples", "harrow-lea-walker.toml"))
    arguments = ["record", "--port", os.ttyname(slave), "--rig", rig, "--runs", str(folder / "runs")]
    recorder = subprocess.Popen([sys.executable, "-m", "host.cli.main", *arguments], stdout=subprocess.PIPE, text=True)
    for seq in range(100):  # until the recorder has heard the board
        os.write(master, report_line(seq) + b"\n")
        time.sleep(0.1)
    assert recorder.stdout
    path = Path(recorder.stdout.readline().removeprefix("recording ").rstrip("\n"))
    seconds = []
    for seq in range(100, 100 + lines):
        size = path.stat().st_size
        start = perf_counter()
        os.write(master, report_line(seq) + b"\n")
        while path.stat().st_size == size:
            pass
        seconds.append(perf_counter() - start)
        time.sleep(0.02)
    recorder.terminate()
    recorder.communicate(timeout=20)
    os.close(slave)
    os.close(master)
    return seconds


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--frames", type=int, default=360_000)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--lines", type=int, default=300, help="lines timed from port to file")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "long.sward"
        write_run(path, arguments.frames)
        size = path.stat().st_size
        run_s, csv_s = reading(path, arguments.frames, arguments.repeats)
        print(f"{arguments.frames:,} frames, {size / 1e6:.1f} MB")
        print(f"read_run, all verified   {run_s:6.3f} s  {arguments.frames / run_s:12,.0f} frames/s")
        print(f"read_csv, same bytes     {csv_s:6.3f} s  {arguments.frames / csv_s:12,.0f} rows/s")
        print(f"read_run / read_csv      {csv_s / run_s:6.2f} times as fast")
        grown, frames = memory(folder, path)
        print(f"memory grown by reading  {grown / 1e6:6.1f} MB, {grown / size:.2f} of the file")
        print(f"of which frames          {frames / 1e6:6.1f} MB")
        delays = np.array(line_to_file(folder, arguments.lines)) * 1e3
        print(f"line to file             {np.median(delays):6.2f} ms median, {np.percentile(delays, 95):.2f} ms 95 %")


if __name__ == "__main__":
    main()
