"""A library of a thousand runs: the first listing, later ones, and a season's comparison, as ratios.

Run: python -m tests.bench.bench_library [RUNS]

The reference for listing is `os.scandir` with `stat` of the same folder; for the first listing it is reading the bytes
of all files. All are measured in the same run. The first listing is timed with one process and with as many as the
library takes by itself, each with its processor time, which other work on the machine does not lengthen.
"""

from __future__ import annotations

import os
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from host.library import Library
from host.library.index import NAME
from host.review.season import season_of
from host.simulate.scenario_source import ScenarioSource, run_frames
from host.simulate.settings import WalkSettings
from tests.host.library.made import short_scenario, write

REPEATS = 7


def timed(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """Median seconds."""
    took = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        took.append(time.perf_counter() - begin)
    return statistics.median(took)


def timed_cpu(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds, and seconds of processor time with that of child processes."""
    whose = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)

    def used() -> float:
        return sum(use.ru_utime + use.ru_stime for use in map(resource.getrusage, whose))

    begin, before = time.perf_counter(), used()
    work()
    return time.perf_counter() - begin, used() - before


def main() -> None:
    """Make the library and print the figures."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    scenario = short_scenario(walk=WalkSettings(passes=6, length_m=38.0))
    frames = run_frames(ScenarioSource(scenario))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        day = datetime(2024, 4, 1, 9, tzinfo=UTC)
        first = write(folder / "first.sward", frames, scenario.rig.toml, day, {"area": "Harrow Lea"})
        old, body = day.isoformat().encode(), first.read_bytes()
        assert old in body
        for number in range(1, count):
            write_as = folder / f"run-{number:04}.sward"
            started = day + timedelta(hours=18 * number)
            write(write_as, frames[:20], scenario.rig.toml, started, {"area": "Harrow Lea"})
            # The raw lines of the first run in place of its own: a whole run with another date, quickly made.
            head = [line for line in write_as.read_bytes().splitlines(True) if not line.startswith((b"L", b"Z"))]
            write_as.write_bytes(b"".join([*head, *(x for x in body.splitlines(True) if x.startswith((b"L", b"Z")))]))
        size = sum(path.stat().st_size for path in folder.iterdir())
        read = timed(lambda: [path.read_bytes() for path in folder.glob("*.sward")], 3)
        alone, alone_cpu = timed_cpu(lambda: Library(folder, processes=1).entries())
        (folder / NAME).unlink()
        cold, cold_cpu = timed_cpu(lambda: Library(folder).entries())
        warm = timed(lambda: Library(folder).entries())
        scan = timed(lambda: [entry.stat() for entry in os.scandir(folder)])
        digests = [entry.digest for entry in Library(folder).entries() if entry.digest]
        compared, compared_cpu = timed_cpu(lambda: season_of(digests))
        os.utime(first, ns=(1, 1))
        one = timed(lambda: Library(folder).entries(), 1)
    print(f"{count} runs of {len(frames)} frames, {size / 1e6:.0f} MB")
    for words, took, cpu in (("one process", alone, alone_cpu), ("several processes", cold, cold_cpu)):
        print(
            f"first listing, {words} (every file read, reviewed, watched for faults): {took:.1f} s, "
            f"{took / read:.0f} × reading their bytes; {cpu:.1f} s of processor time"
        )
    print(f"listing again: {warm:.3f} s, {warm / scan:.1f} × scandir and stat of the folder, first / {cold / warm:.0f}")
    print(f"season of these {count}: {compared:.2f} s, {compared_cpu:.2f} s of processor time; no file is read for it")
    print(f"listing with one file changed: {one:.3f} s, {one / warm:.1f} × without")


if __name__ == "__main__":
    main()
