"""Ten hours reviewed: time and memory, beside pandas reading the same lines. Run: python -m tests.bench.bench_review

Each figure is the median of several runs in a fresh process, so that one reading does not warm up the next; the ratio
is to `pandas.read_csv` with explicit dtypes on the same file, measured in the same run.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from firmware_protocol.messages import Report, encode_report
from host.journal import JournalWriter
from host.journal.writer import Snapshot
from tests.host.pipeline.made import RIG, made_frames

HOURS = (1, 2.5, 5, 10)
REPEATS = 5

REVIEW = """
import resource, sys, time
from pathlib import Path
from host.review.review import review_run
begin = time.perf_counter()
review = review_run(Path(sys.argv[1]))
print(time.perf_counter() - begin, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, review.health.frames)
"""
READ_CSV = """
import resource, sys, time
import pandas as pd
begin = time.perf_counter()
table = pd.read_csv(sys.argv[1], sep=" ", header=None, dtype=str, names=range(15), skiprows=8)
print(time.perf_counter() - begin, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, len(table))
"""


def make_run(path: Path, hours: float) -> None:
    """A run of `hours`: passes of 30 s, turns of 6 s."""
    n = int(hours * 36_000)
    spraying = np.arange(n) % 360 < 300
    frames = made_frames(np.where(spraying, 40.0, 0.0), np.full(n, 10.0), spraying, first_clock_us=4_000_000_000)
    writer = JournalWriter(path, Snapshot({"started": "2026-05-14T09:15:00+01:00"}, RIG))
    writer.event("run_start", 0.0)
    for number, row in enumerate(frames):
        values = row.tolist()
        writer.raw_line(encode_report(Report(*values[1:])), values[0])
        if number % 5000 == 0:
            writer.flush()
    writer.close("complete", "bench", 0, hours * 3600)


def measured(code: str, path: Path) -> tuple[float, float]:
    """Median seconds and MB of `code` in a fresh process."""
    outs = [
        subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True).stdout
        for _ in range(REPEATS)
    ]
    return statistics.median(float(o.split()[0]) for o in outs), statistics.median(float(o.split()[1]) for o in outs)


def main() -> None:
    """Print the table."""
    print("hours   file MB   review s   memory MB   read_csv s   memory MB   review time / read_csv time")
    with tempfile.TemporaryDirectory() as folder:
        for hours in HOURS:
            path = Path(folder) / f"{hours}.sward"
            make_run(path, hours)
            review_s, review_mb = measured(REVIEW, path)
            csv_s, csv_mb = measured(READ_CSV, path)
            print(
                f"{hours:5} {path.stat().st_size / 1e6:9.1f} {review_s:10.2f} {review_mb:11.0f} {csv_s:12.2f} "
                f"{csv_mb:11.0f} {review_s / csv_s:10.2f}"
            )


if __name__ == "__main__":
    main()
