"""What `swardflow season` costs over 300 unchanged runs, beside importing pandas in the same run.

    .venv/bin/python -m tests.bench.bench_season_cost [seasons]

The runs are drawn (nothing planted, wear, wear with new tips three times and a meter that steps) and put into the
index of a folder as if their files had been read; then the command is started anew. Processor time, medians of five,
bytecode cached.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np

from host.library.index import Index, Kept
from host.library.library import DIGEST_FORMAT
from host.pipeline.columns import Floats
from host.review.digest import Digest, digest_to_json
from host.run_folder import list_runs
from host.units import PSI_PA
from tests.host.review.season_runs import FIRST, Truth, season

RUNS, REPEATS, FIRST_SEED = 300, 5, 4_000_000
NUMBER = np.arange(RUNS)


def _wear_and_steps() -> tuple[Floats, Floats]:
    return np.log1p(0.08 * (NUMBER % 100) / 99), np.log(1.03) * (NUMBER >= 170)


PLANTS = {
    "nothing planted": (np.zeros(RUNS), np.zeros(RUNS)),
    "wear of 8 %": (np.log1p(0.08 * NUMBER / (RUNS - 1)), np.zeros(RUNS)),
    "three wears, new tips between, a meter that steps": _wear_and_steps(),
}


def drawn(digest: Digest, seed: int, plant: str) -> list[Digest]:
    """300 runs in 240 days, a balance of 2 % after every second."""
    rng = np.random.default_rng(seed)
    nozzles, meter = PLANTS[plant]
    meter = meter + rng.normal(0, 0.003, RUNS)
    coefficient = np.exp(nozzles + meter + rng.normal(0, 0.003, RUNS))
    pressure = 38 * PSI_PA * np.exp(rng.normal(0, 0.05, RUNS))
    balance = np.exp(meter + rng.normal(0, 0.02, RUNS))
    assert digest.steady is not None
    return [
        replace(
            digest,
            identity=f"{run}",
            started=(FIRST + timedelta(days=0.8) * run).isoformat(),
            steady=replace(
                digest.steady,
                coefficient=digest.steady.coefficient * float(coefficient[run]),
                pressure_pa=float(pressure[run]),
            ),
            meter_over_tank=float(balance[run]) if run % 2 else None,
            cards=(),
        )
        for run in range(RUNS)
    ]


def put(folder: Path, digests: list[Digest]) -> None:
    """A folder whose index knows these runs."""
    folder.mkdir()
    for number in range(len(digests)):
        (folder / f"run-{number:03}.sward").write_bytes(b"H")
    files, _ = list_runs(folder)
    by_name = dict(zip(sorted(file.relative for file in files), digests, strict=True))
    with closing(Index(folder)) as index:
        index.keep(
            {
                file.relative: Kept(
                    f"{DIGEST_FORMAT} {file.size} {file.stamp}",
                    {"digest": digest_to_json(by_name[file.relative]), "problem": ""},
                )
                for file in files
            },
            [],
        )


def processor_s(*words: str) -> float:
    """Processor time of a program started anew."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run([sys.executable, *words], stdout=subprocess.DEVNULL, env=kept, check=False)
    assert done.returncode in (0, 1), done
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    """Print the figures."""
    seasons = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    digest = season(1, Truth())[0]
    with tempfile.TemporaryDirectory() as name:
        for plant in PLANTS:
            for seed in range(seasons):
                folder = Path(name) / f"{plant}-{seed}"
                put(folder, drawn(digest, FIRST_SEED + seed, plant))
                season_of = ["-m", "host.cli.main", "season", "--runs", str(folder)]
                processor_s(*season_of)
                pairs = [(processor_s(*season_of), processor_s("-c", "import pandas")) for _ in range(REPEATS)]
                own, pandas = (statistics.median(column) for column in zip(*pairs, strict=True))
                print(f"{plant}: {own:.2f} s, pandas {pandas:.2f} s, {own / pandas:.2f} ×", flush=True)


if __name__ == "__main__":
    main()
