"""A dataset kept up to date: unchanged runs beside listing them, and the work on one and on two workers.

Run: python -m tests.bench.bench_dataset [--unchanged N] [--worked N] [--no-cluster]

UNCHANGED runs (default 1,000) are in a dataset already; updating it is timed as a command, beside `swardflow runs` on
the same folder, in turn, medians. WORKED runs (default 200) are worked out anew by one local process and by two, and by
a Dask cluster of one worker and of two, with the greatest memory of the process that writes and of its workers. With
`--workers 1` or `--workers 2` only one of the two is tried.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from host.library import Library
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.simulate.settings import WalkSettings
from tests.host.library.made import short_scenario, write

REPEATS = 5
_WORK = """
import resource, sys, time
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from host.library.cluster import over_cluster
from host.library.dataset import update_dataset
from host.library.dataset_store import FolderStore
from host.library.worker_pool import spread

def main():
    runs, out, processes, address = sys.argv[1:5]
    with ExitStack() as stack:
        over = partial(spread, processes=int(processes))
        if address:
            over = stack.enter_context(over_cluster(address))
        begin = time.perf_counter()
        update_dataset(Path(runs), FolderStore(Path(out)), spread_over=over)
        took = time.perf_counter() - begin
    own, theirs = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
    worked = sum(one.ru_utime + one.ru_stime for one in (own, theirs))
    print(took, worked, own.ru_maxrss / 1024, theirs.ru_maxrss / 1024)

if __name__ == "__main__":
    main()
"""


def make_runs(folder: Path, count: int, passes: int = 6) -> None:
    """So many runs of so many passes (six: about five minutes), each of another day."""
    scenario = short_scenario(walk=WalkSettings(passes=passes, length_m=38.0))
    frames = run_frames(ScenarioSource(scenario))
    folder.mkdir()
    day = datetime(2024, 4, 1, 9, tzinfo=UTC)
    first = write(folder / "first.sward", frames, scenario.rig.toml, day)
    body = [line for line in first.read_bytes().splitlines(True) if line.startswith((b"L", b"Z"))]
    for number in range(1, count):
        path = folder / f"run-{number:05}.sward"
        write(path, frames[:20], scenario.rig.toml, day + timedelta(hours=5 * number))
        head = [line for line in path.read_bytes().splitlines(True) if not line.startswith((b"L", b"Z"))]
        path.write_bytes(b"".join([*head, *body]))


def command(*words: str) -> float:
    """Seconds of a command of Swardflow, started anew."""
    begin = time.perf_counter()
    subprocess.run([sys.executable, "-m", "host.cli.main", *words], stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - begin


def unchanged(folder: Path, count: int) -> None:
    """Print what an update without a change costs beside listing."""
    make_runs(folder / "runs", count)
    runs, out = str(folder / "runs"), str(folder / "out")
    Library(folder / "runs").entries()
    command("dataset", "--out", out, "--runs", runs)
    pairs = [
        (command("dataset", "--out", out, "--runs", runs), command("runs", "--runs", runs)) for _ in range(REPEATS)
    ]
    update, listing = (statistics.median(column) for column in zip(*pairs, strict=True))
    size = sum(path.stat().st_size for path in (folder / "out").rglob("*.parquet"))
    files = len(list((folder / "out").rglob("*.parquet")))
    print(f"{count} unchanged runs: update {update:.2f} s, listing {listing:.2f} s, ratio {update / listing:.2f}")
    print(f"dataset: {files} files, {size / count / 1000:.1f} kB a run")


def worked(folder: Path, count: int, passes: int, many: list[int], *, cluster: bool) -> None:
    """Print what reading costs on one and on two workers."""
    make_runs(folder / "worked", count, passes)
    size = sum(path.stat().st_size for path in (folder / "worked").iterdir())
    for workers in many:
        print(f"{count} runs ({size / 1e6:.0f} MB), {workers} local processes:", timed(folder, str(workers), ""))
    for workers in many if cluster else ():
        contact = folder / f"scheduler-{workers}.json"
        dask = [sys.executable, "-m", "dask"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": folder}
        running = [
            subprocess.Popen(
                [*dask, "scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", contact], **quiet
            )
        ]
        while not contact.exists():
            time.sleep(0.1)
        alone = ["--scheduler-file", contact, "--nworkers", "1", "--nthreads", "1", "--no-dashboard"]
        running += [subprocess.Popen([*dask, "worker", *alone], **quiet) for _ in range(workers)]
        try:
            wait = (
                f"from distributed import Client; Client(scheduler_file={str(contact)!r}).wait_for_workers({workers})"
            )
            subprocess.run([sys.executable, "-c", wait], check=True)
            import json

            address = json.loads(contact.read_text(encoding="utf-8"))["address"]
            print(f"{count} runs, {workers} Dask workers:", timed(folder, "0", address))
        finally:
            for process in reversed(running):
                process.terminate()
                process.wait()


def timed(folder: Path, processes: str, address: str) -> str:
    """One way of working, measured."""
    out = folder / "worked-out"
    shutil.rmtree(out, ignore_errors=True)
    script = folder / "work.py"
    script.write_text(_WORK, encoding="utf-8")
    ran = [sys.executable, str(script), str(folder / "worked"), str(out), processes, address]
    done = subprocess.run(ran, stdout=subprocess.PIPE, text=True, check=True)
    took, work, memory, theirs = map(float, done.stdout.split())
    return f"{took:.1f} s, processor {work:.1f} s, memory of the writer {memory:.0f} MB, of a worker {theirs:.0f} MB"


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.bench_dataset", description=__doc__.split("\n")[0])
    parser.add_argument("--unchanged", type=int, default=1000, metavar="N", help="runs listed and updated; 0: none")
    parser.add_argument("--worked", type=int, default=200, metavar="N", help="runs worked out anew; 0: none")
    parser.add_argument("--passes", type=int, default=6, metavar="N", help="of each run that is worked out")
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2], metavar="N", help="how many at once")
    parser.add_argument("--no-cluster", action="store_true", help="by local processes alone")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        if args.unchanged:
            unchanged(Path(name), args.unchanged)
        if args.worked:
            worked(Path(name), args.worked, args.passes, args.workers, cluster=not args.no_cluster)


if __name__ == "__main__":
    main()
