"""Right at the edges: error and coverage of volume, area and rate on known ground, case by case.

The board is the second one, written from PROTOCOL.md alone. Each seed draws its walk, its pump, its poles, and how far
meter and wheel are off that day: by what their calibrations say (1 % and 0.5 %, standard) and by what the day and the
ground add (host.rig.model). A timed course is off by 1 %, and the walker's pace wanders. "Error" is without that part:
what the method itself adds. "Covered" is how often the truth lies inside the stated ± (95 %), each run judged under
DRAWS other days: meter and wheel only scale it, so it need not be sprayed again, and the table is not at the mercy of
as few draws as there are seeds.

    .venv/bin/python -m tests.bench.bench_edges [seeds]
"""

from __future__ import annotations

import sys
from dataclasses import replace
from functools import lru_cache

import numpy as np

from host.review.apart import apart_messages, board_messages, timed_pace_message
from host.review.review import Review, review_of
from host.review.run_document import run_document
from host.rig import rig_from_toml
from tests.independent_board.cases import CASES, Case
from tests.independent_board.reading import METER_U, WHEEL_U, frames_file, rig_toml, truth_on_known_ground
from tests.independent_board.sprayer import Plan, Sprayer, spray

COURSE_TIMED_U, COURSE_U = 0.01, 0.015  # of the timing; with the walker's own wandering over a run of four passes
FIRST_SEED = 20_000  # no test uses these
DRAWS = 200


@lru_cache(maxsize=8)
def sprayed(plan: Plan, seed: int) -> Sprayer:
    """What is sprayed: the same for all cases of one plan."""
    return spray(plan, np.random.default_rng([seed, 1]))


def measured(case: Case, seed: int) -> tuple[list[float], list[float], Review]:
    """Errors of volume, area and rate in per cent, how often each ± and that of all volume covers, and the review."""
    rng = np.random.default_rng([seed, CASES.index(case)])
    sprayer = sprayed(case.plan, seed)
    run = frames_file(*case.board(sprayer).frames(sprayer, rng))
    meter, wheel = 1 + METER_U * rng.normal(), 1 + WHEEL_U * rng.normal()
    plan = case.plan
    claimed = replace(plan, pulses_per_m3=plan.pulses_per_m3 * meter, metres_per_pulse=plan.metres_per_pulse * wheel)
    by_course = not case.rig.get("wheel", True)
    if by_course:
        wheel = 1 + COURSE_TIMED_U * rng.normal()
        claimed = replace(claimed, pace_m_s=plan.pace_m_s * wheel)
    toml = rig_toml(claimed, **case.rig, **({"course_u": f"{COURSE_U:%}"} if by_course else {}))
    review = review_of(run, rig_from_toml(toml), watch_faults=False)
    true, totals = truth_on_known_ground(sprayer, review), review.totals
    assert totals.rate_m3_m2 is not None and totals.rate_u_m3_m2 is not None
    volume, area, rate = totals.ground_m3, totals.area_m2, totals.rate_m3_m2
    errors = [
        volume * meter / true.volume_m3 - 1,
        area / wheel / true.area_m2 - 1,
        rate * meter * wheel / true.rate_m3_m2 - 1,
    ]
    # On another day the meter gives so many times as many pulses as it should, and the wheel so many times the way.
    meters = 1 + METER_U * rng.normal(size=DRAWS)
    ways = 1 + (COURSE_TIMED_U if by_course else WHEEL_U) * rng.normal(size=DRAWS)
    everything = totals.volume_m3 * meter / float(sprayer.sprayed_m3[-1]) - 1
    covered = [
        _covers(errors[0], 1 / meters, totals.ground_u_m3 / volume),
        _covers(errors[1], ways, totals.area_u_m2 / area),
        _covers(errors[2], 1 / meters / ways, totals.rate_u_m3_m2 / rate),
        _covers(everything, 1 / meters, totals.volume_u_m3 / totals.volume_m3),
    ]
    return [100 * error for error in errors], covered, review


def _covers(error: float, off: np.ndarray, relative_u: float) -> float:
    """How often a quantity with this error of the method, `off` times as large, covers the truth by its own ±."""
    found = (1 + error) * off
    return float(np.mean(np.abs(found - 1) <= 2 * relative_u * found))


def main() -> None:
    """Print the table and, below it, what the user reads in each case."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    print(f"{seeds} seeds each. Error in %: mean, and 95 of 100 within; covered of 100.")
    print("| case | volume | area | rate | volume covered | area covered | rate covered | through the meter covered |")
    print("|---|---|---|---|---|---|---|---|")
    sentences: list[str] = []
    found: dict[str, list[tuple[list[float], list[float]]]] = {case.name: [] for case in CASES}
    for seed in range(FIRST_SEED, FIRST_SEED + seeds):
        for case in CASES:
            errors_of, covers, review = measured(case, seed)
            found[case.name].append((errors_of, covers))
            if seed == FIRST_SEED:
                said = [*board_messages(review, "metric"), *apart_messages(review, "metric")]
                said = said or [run_document(review, "metric").answer, timed_pace_message(review, "metric")]
                sentences.append(f"- {case.name}: {' '.join(said).strip()}")
    for case in CASES:
        errors = np.array([one[0] for one in found[case.name]])
        covered = np.array([one[1] for one in found[case.name]])
        within = np.quantile(np.abs(errors), 0.95, axis=0)
        cells = [f"{mean:+.2f}, {most:.2f}" for mean, most in zip(errors.mean(axis=0), within, strict=True)]
        shares = [f"{100 * share:.1f}" for share in covered.mean(axis=0)]
        print(f"| {case.name} | {' | '.join([*cells, *shares])} |", flush=True)
    print("\n".join(["", *sentences]))


if __name__ == "__main__":
    main()
