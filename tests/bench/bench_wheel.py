"""How well a season sees that its wheel measures otherwise: by passes over areas that were sprayed again and again.

    python -m tests.bench.bench_wheel [SEEDS]

24 runs over three areas in no order; from the thirteenth on the wheel gives so much more for the same way. For each
scatter of the passes from run to run and each change: in how many seasons it was found, and dated within one run.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from host.review.digest import Digest
from host.review.season import season_of
from host.review.season.findings import WHEEL_CHANGED
from tests.bench.bench_season import drawn
from tests.host.review.season_runs import Truth, season

LENGTHS = {"front": 100.0, "back": 240.0, "orchard": 61.0}
RUNS, AT = 24, 12


def runs_over_areas(digest: Digest, seed: int, change: float, scatter: float) -> list[Digest]:
    """Digests of a season."""
    rng = np.random.default_rng(10_000 + seed)
    out = []
    for run, one in enumerate(drawn(digest, seed, "nothing")[:RUNS]):
        site = list(LENGTHS)[rng.integers(len(LENGTHS))]
        pulses = LENGTHS[site] * np.exp(rng.normal(0.0, scatter)) * (1.0 + change * (run >= AT))
        out.append(replace(one, site=site, pass_pulses=float(pulses)))
    return out


def main() -> None:
    """Print the table."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    (digest,) = season(1, Truth())
    print(f"{'scatter':>8} {'change':>7} {'found':>6} {'dated':>6}   of {seeds}")
    for scatter in (0.005, 0.01, 0.02):
        for change in (0.0, 0.02, 0.03, 0.05):
            found = dated = 0
            for seed in range(seeds):
                runs = runs_over_areas(digest, seed, change, scatter)
                days = [run.date for run in runs]
                told = [one for one in season_of(runs).findings if one.kind == WHEEL_CHANGED]
                found += bool(told)
                dated += any(abs(days.index(one.first_day) - AT) <= 1 for one in told)
            print(f"{scatter:8.1%} {change:7.0%} {found:6d} {dated:6d}", flush=True)


if __name__ == "__main__":
    main()
