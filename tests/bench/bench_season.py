"""Seasons with planted changes, at digest level: what is found, dated, sized and named, of 100 seeds each.

60 runs, one in three days; nozzles and meter scatter by 0.3 % each from run to run, the transducer's zero by
0.12 psi, a balance by 2 %, the pressure by 5 %. No test uses these seeds, and no two plants share any.

    .venv/bin/python -m tests.bench.bench_season [seeds [plant …]]
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from host.pipeline.columns import Floats
from host.review import season as seasons
from host.review.digest import Digest
from host.review.season import Finding
from host.review.season import findings as kinds
from host.units import PSI_PA
from tests.host.review.season_runs import EVERY, FIRST, Truth, day_of, season

RUNS, AT, FIRST_SEED, APART = 60, 30, 23_450_000, 10_000
_USUAL_PA = 38 * PSI_PA


@dataclass
class Season:
    """What is true of each run: logarithms, and Pa for the transducer; `balances` says which runs have one."""

    nozzles: Floats = field(default_factory=lambda: np.zeros(RUNS))
    meter: Floats = field(default_factory=lambda: np.zeros(RUNS))
    zero_pa: Floats = field(default_factory=lambda: np.zeros(RUNS))
    tank: Floats = field(default_factory=lambda: np.zeros(RUNS))
    pressure_pa: Floats = field(default_factory=lambda: np.full(RUNS, _USUAL_PA))
    balances: Floats = field(default_factory=lambda: np.ones(RUNS))


@dataclass(frozen=True)
class Expected:
    """A finding that should be there: first runs it may begin with, its size as a fraction, its kinds, its suspects."""

    at: int | None
    size: float
    suspect: str = ""
    kinds: tuple[str, ...] = ()
    away: int = 1  # runs; what comes little by little has no day
    last_run: bool = False  # dated by its end


NUMBER = np.arange(RUNS)
LATE = NUMBER >= AT


def _few(count: int) -> Floats:
    """So many balances, spread over the season."""
    out = np.zeros(RUNS)
    out[np.linspace(0, RUNS - 1, count).round().astype(int)] = 1.0
    return out


def _sawtooth(first: int, last: int, depth: float, power: float) -> Floats:
    here = (first <= NUMBER) & (last >= NUMBER)
    share = np.clip((NUMBER - first) / (last - first), 0.0, 1.0)
    return np.where(here, np.log1p(-depth * share**power), 0.0)


def _knobs(first_psi: float, last_psi: float) -> Floats:
    return np.linspace(first_psi, last_psi, RUNS) * PSI_PA


def _down(by_psi: float) -> Floats:
    return np.where(LATE, _USUAL_PA - by_psi * PSI_PA, _USUAL_PA)


PLANTS: dict[str, tuple[Callable[[], Season], tuple[Expected, ...]]] = {
    "nothing": (Season, ()),
    "no balances, nothing": (lambda: Season(balances=np.zeros(RUNS)), ()),
    "knob turned slowly, transducer 1 psi high": (
        lambda: Season(pressure_pa=_knobs(46, 27), zero_pa=np.full(RUNS, PSI_PA)),
        (),
    ),
    "knob set 5 psi lower once": (lambda: Season(pressure_pa=_down(5.0)), ()),
    "half a sine of 1 %": (lambda: Season(nozzles=0.01 * np.sin(np.pi * NUMBER / RUNS)), ()),
    "meter + 3 %, 25 balances": (
        lambda: Season(meter=np.log(1.03) * LATE, balances=_few(25)),
        (Expected(AT, 0.03, "meter"),),
    ),
    "meter - 5 %": (lambda: Season(meter=np.log(0.95) * LATE), (Expected(AT, -0.05, "meter"),)),
    "meter + 3 % slowly": (
        lambda: Season(meter=np.log(1.03) * NUMBER / (RUNS - 1)),
        (Expected(None, 0.03, "meter"),),
    ),
    "tips + 12 %": (lambda: Season(nozzles=np.log(1.12) * LATE), (Expected(AT, 0.12, "nozzles"),)),
    "wear of 8 %": (
        lambda: Season(nozzles=np.log1p(0.08 * NUMBER / (RUNS - 1))),
        (Expected(None, 0.08, "nozzles"),),
    ),
    "wear, then new tips": (
        lambda: Season(nozzles=np.where(LATE, 0.0, np.log1p(0.08 * NUMBER / (AT - 1)))),
        (
            Expected(AT - 1, 0.08, "nozzles", (kinds.WEAR,), last_run=True),
            Expected(AT, 1 / 1.08 - 1, "nozzles", (kinds.NOZZLE_STEP,)),
        ),
    ),
    "wear, new tips, wear": (
        lambda: Season(nozzles=np.log1p(np.where(LATE, 0.06 * (NUMBER - AT) / (AT - 1), 0.08 * NUMBER / (AT - 1)))),
        (
            Expected(AT - 1, 0.08, "nozzles", (kinds.WEAR,), last_run=True),
            Expected(AT, 1 / 1.08 - 1, "nozzles", (kinds.NOZZLE_STEP,)),
            Expected(RUNS - 1, 0.06, "nozzles", (kinds.WEAR,), last_run=True),
        ),
    ),
    "strainer behind the transducer, twice": (
        lambda: Season(nozzles=_sawtooth(6, 22, 0.13, 2.5) + _sawtooth(26, 40, 0.15, 1.5)),
        (
            Expected(22, -0.13, "nozzles", (kinds.FILLED,), last_run=True),
            Expected(23, 1 / 0.87 - 1, "nozzles", (kinds.CLEANED,)),
            Expected(40, -0.15, "nozzles", (kinds.FILLED,), last_run=True),
            Expected(41, 1 / 0.85 - 1, "nozzles", (kinds.CLEANED,)),
        ),
    ),
    "strainer before the transducer": (
        lambda: Season(pressure_pa=_USUAL_PA * np.exp(4.0 * _sawtooth(10, 40, 0.10, 1.0))),
        (Expected(40, 0.9**4 - 1, "strainer", (kinds.STRAINER_FILLED,), last_run=True),),
    ),
    "half a tip clogged, 4 runs": (
        lambda: Season(nozzles=np.where((NUMBER >= AT) & (NUMBER < AT + 4), np.log(0.875), 0.0)),
        (Expected(AT, -0.125, "nozzles"),),
    ),
    "zero + 1.5 psi, two pressures": (
        lambda: Season(zero_pa=1.5 * PSI_PA * LATE, pressure_pa=np.where(NUMBER % 2, 25.0, 45.0) * PSI_PA),
        (Expected(AT, 1.5 * PSI_PA, "transducer"),),
    ),
    "one clogged run": (
        lambda: Season(nozzles=np.where(NUMBER == AT, np.log(0.9), 0.0)),
        (Expected(AT, -0.10, "", (kinds.LONE_RUN,), away=0),),
    ),
    "one refill not recorded": (
        lambda: Season(tank=np.where(NUMBER == AT, np.log(2.0), 0.0)),
        (Expected(AT, 1.0, "", (kinds.LONE_BALANCE,), away=0),),
    ),
}


def drawn(digest: Digest, seed: int, plant: str) -> list[Digest]:
    """The digests of one season."""
    rng = np.random.default_rng(seed)
    true = PLANTS[plant][0]()
    pressure = true.pressure_pa * np.exp(rng.normal(0, 0.03 if np.ptp(true.pressure_pa) else 0.05, RUNS))
    zero = true.zero_pa + rng.normal(0, 0.12 * PSI_PA, RUNS)
    meter = true.meter + rng.normal(0, 0.003, RUNS)
    nozzles = true.nozzles + rng.normal(0, 0.003, RUNS)
    read = pressure + zero
    coefficient = np.exp(nozzles + meter) * np.sqrt(pressure / read)
    balance = np.exp(meter + true.tank + rng.normal(0, 0.02, RUNS))
    assert digest.steady is not None and digest.meter_over_tank and digest.meter_over_tank_u
    balance_u = digest.meter_over_tank_u / digest.meter_over_tank
    return [
        replace(
            digest,
            started=(FIRST + EVERY * run).isoformat(),
            steady=replace(
                digest.steady,
                coefficient=digest.steady.coefficient * float(coefficient[run]),
                pressure_pa=float(read[run]),
            ),
            meter_over_tank=float(balance[run]) if true.balances[run] else None,
            meter_over_tank_u=float(balance[run]) * balance_u,
            pressure_u_pa=PSI_PA,
            cards=(),
        )
        for run in range(RUNS)
    ]


def matching(expected: Expected, found: tuple[Finding, ...]) -> Finding | None:
    """The finding that is meant: of its kind, or of a cause that is left open; of these the one of the nearest size."""
    of_kind = [one for one in found if not expected.kinds or one.kind in expected.kinds or len(one.suspects) > 1]
    near = [one for one in of_kind if expected.at is None or _dated(expected, one, 8)]
    return min(near, key=lambda one: abs(one.change - expected.size), default=None)


def _dated(expected: Expected, one: Finding, away: int) -> bool:
    if expected.at is None:
        return True
    day = one.last_day if expected.last_run else one.first_day
    return day in {day_of(expected.at + by) for by in range(-away, away + 1)}


def main() -> None:
    """Print the table."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    digest = season(1, Truth())[0]
    print("| planted | found | dated within one run | covered | named | among two | nothing else said |")
    print("|---|---|---|---|---|---|---|")
    for plant in sys.argv[2:] or PLANTS:
        _, wanted = PLANTS[plant]
        counts, clean = np.zeros((len(wanted), 5), dtype=int), 0
        first_seed = FIRST_SEED + APART * list(PLANTS).index(plant)
        for seed in range(first_seed, first_seed + seeds):
            found = seasons.season_of(drawn(digest, seed, plant)).findings
            clean += len(found) == len(wanted)
            for row, expected in enumerate(wanted):
                one = matching(expected, found)
                if one is None:
                    continue
                size, u = one.zero_pa or (one.change, one.change_u)
                covered = abs(size - expected.size) <= kinds.EXPANDED * u
                suspected = not expected.suspect or expected.suspect in one.suspects
                counts[row] += [
                    True,
                    _dated(expected, one, expected.away),
                    covered,
                    suspected and len(one.suspects) < 2,
                    suspected and len(one.suspects) < 3,
                ]
        for row, expected in enumerate(wanted):
            what = f"{plant}: {expected.kinds[0] if len(wanted) > 1 else ''}".rstrip(": ")
            print(f"| {what} | {' | '.join(map(str, counts[row]))} | {clean} |", flush=True)
        if not wanted:
            print(f"| {plant} | | | | | | {clean} |", flush=True)


if __name__ == "__main__":
    main()
