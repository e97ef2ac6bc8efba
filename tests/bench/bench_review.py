"""Ten hours reviewed: time and memory, beside pandas reading the same lines. Run: python -m tests.bench.bench_review

Each figure is the median of several runs in a fresh process, so that one reading does not warm up the next; the ratio
is to `pandas.read_csv` with explicit dtypes on the same file, measured in the same run. Seconds are those of the
processor, start-up apart, which other work on the machine does not lengthen.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from host.journal import JournalWriter
from host.journal.writer import Snapshot
from host.simulate.scenario import load_scenario
from host.simulate.scenario_source import ScenarioSource, run_lines

HOURS = (1, 2.5, 5, 10)
REPEATS = 3

REVIEW = """
import resource, sys, time
from pathlib import Path
from host.review.review import review_run
begin = time.process_time()
review = review_run(Path(sys.argv[1]), watch_faults=%s)
print(time.process_time() - begin, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, review.health.frames)
"""
READ_CSV = """
import resource, sys, time
import pandas as pd
begin = time.process_time()
table = pd.read_csv(sys.argv[1], sep=" ", header=None, dtype=str, names=range(15), skiprows=8)
print(time.process_time() - begin, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, len(table))
"""


def make_run(path: Path, hours: float) -> None:
    """The simulator's ten hours of spraying, cut off after `hours`."""
    scenario = load_scenario("ten-hours")
    writer = JournalWriter(path, Snapshot({"started": "2026-05-14T09:15:00+01:00"}, scenario.rig.toml))
    writer.event("run_start", 0.0)
    source = ScenarioSource(scenario)
    for lines in run_lines(source):
        for at_s, line in lines:
            if at_s < hours * 3600:
                writer.raw_line(line, at_s)
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
    print(
        "hours   file MB   review s   memory MB   with faults s   read_csv s   memory MB   over read_csv   with faults"
    )
    with tempfile.TemporaryDirectory() as folder:
        for hours in HOURS:
            path = Path(folder) / f"{hours}.sward"
            make_run(path, hours)
            review_s, review_mb = measured(REVIEW % False, path)
            faults_s, _ = measured(REVIEW % True, path)
            csv_s, csv_mb = measured(READ_CSV, path)
            print(
                f"{hours:5} {path.stat().st_size / 1e6:9.1f} {review_s:10.2f} {review_mb:11.0f} {faults_s:15.2f} "
                f"{csv_s:12.2f} {csv_mb:11.0f} {review_s / csv_s:15.2f} {faults_s / csv_s:13.2f}"
            )


if __name__ == "__main__":
    main()
