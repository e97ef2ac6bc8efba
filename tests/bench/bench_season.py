"""Seasons with one planted change, at digest level: what is found, dated, sized and named, of 100 seeds each.

60 runs; from run to run c scatters by 0.5 %, a balance by 2 %. No test uses these seeds.

    .venv/bin/python -m tests.bench.bench_season [seeds]
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from host.review import season as kinds
from host.review.digest import Digest
from host.review.lone import LONE_RUN, LONE_TANK
from host.review.season import season_of
from tests.host.review.season_runs import EVERY, FIRST, Truth, day_of, season

RUNS, AT, FIRST_SEED = 60, 30, 70_000
STEPS = (kinds.METER_STEP, kinds.NOZZLE_STEP, kinds.UNCLEAR_STEP)


def drawn(digest: Digest, seed: int, plant: str) -> list[Digest]:
    """The digests of one season."""
    rng = np.random.default_rng(seed)
    number = np.arange(RUNS)
    late = number >= AT
    boom = 1 + 0.12 * late * (plant == "new tips") - 0.10 * (number == AT) * (plant == "clogged run")
    wear = 0.08 * number / AT
    boom = boom + np.where(late, 0.0, wear) * (plant == "wear, then new tips")
    meter = 1 + 0.03 * late * (plant == "meter step")
    tank = meter * (1 + 1.0 * (number == AT) * (plant == "untold refill"))
    c, b = rng.normal(0, 0.005, RUNS), rng.normal(0, 0.02, RUNS)
    assert digest.steady is not None
    return [
        replace(
            digest,
            started=(FIRST + EVERY * run).isoformat(),
            steady=replace(
                digest.steady, coefficient=digest.steady.coefficient * boom[run] * meter[run] * (1 + c[run])
            ),
            meter_over_tank=float(tank[run] * (1 + b[run])),
        )
        for run in range(RUNS)
    ]


def main() -> None:
    """Print the table."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    digest = season(1, Truth())[0]
    near = {day_of(run) for run in (AT - 1, AT, AT + 1)}
    plants = {
        "nothing": ((), 0.0),
        "meter step": ((kinds.METER_STEP,), 0.03),
        "new tips": ((kinds.NOZZLE_STEP,), 0.12),
        "clogged run": ((LONE_RUN,), -0.10),
        "untold refill": ((LONE_TANK,), 1.0),
        "wear, then new tips": ((kinds.NOZZLE_STEP,), 1 / 1.08 - 1),
    }
    print("| planted | seasons with a finding | dated within one run | covered | named | nothing else said |")
    print("|---|---|---|---|---|---|")
    for plant, (named, size) in plants.items():
        counts = np.zeros(5, dtype=int)
        for seed in range(FIRST_SEED, FIRST_SEED + seeds):
            found = season_of(drawn(digest, seed, plant)).findings
            dated = [one for one in found if one.first_day in near and (one.kind in (*STEPS, *named))]
            covered = [one for one in dated if abs(one.change - size) <= 2 * one.change_u * (1 + size)]
            right = [one for one in dated if one.kind in named]
            expected = {"nothing": 0, "wear, then new tips": 2}.get(plant, 1)
            counts += [bool(found), bool(dated), bool(covered), bool(right), len(found) == expected]
        print(f"| {plant} | {' | '.join(map(str, counts))} |", flush=True)


if __name__ == "__main__":
    main()
