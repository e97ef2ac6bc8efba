"""Right at the edges: error and coverage of volume, area and rate on known ground, case by case.

The board is the second one, written from PROTOCOL.md alone. Each seed draws its walk, its pump, its poles, and how far
meter and wheel are off what their calibrations say (standard uncertainties 1 % and 0.5 %; of a timed course 1.5 %, with
the walker's own pace in it). "Error" is without that part: what the method itself adds. "Covered" is how often the
truth lies inside the stated ± (95 %).

    .venv/bin/python -m tests.bench.bench_edges [seeds]
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from host.review.apart import apart_messages, board_messages
from host.review.run_document import run_document
from tests.independent_board.cases import CASES, Case
from tests.independent_board.reading import reviewed, rig_toml, truth_on_known_ground

METER_U, WHEEL_U, COURSE_U = 0.01, 0.005, 0.015
FIRST_SEED = 20_000  # no test uses these


def measured(case: Case, seed: int) -> tuple[list[float], list[bool], list[str]]:
    """Errors of volume, area and rate in per cent, whether each ± covers, and what the user reads."""
    rng = np.random.default_rng([seed, 9])
    sprayer, lines = case.sprayed(seed)
    meter, wheel = 1 + METER_U * rng.normal(), 1 + WHEEL_U * rng.normal()
    plan = case.plan
    claimed = replace(plan, pulses_per_m3=plan.pulses_per_m3 * meter, metres_per_pulse=plan.metres_per_pulse * wheel)
    by_course = not case.rig.get("wheel", True)
    if by_course:
        wheel = 1.0  # the walker's pace itself is the error there
    review = reviewed(lines, rig_toml(claimed, **case.rig, **({"course_u": f"{COURSE_U:%}"} if by_course else {})))
    true, totals = truth_on_known_ground(sprayer, review), review.totals
    assert totals.rate_m3_m2 is not None and totals.rate_u_m3_m2 is not None
    volume, area, rate = totals.ground_m3, totals.area_m2, totals.rate_m3_m2
    errors = [
        volume * meter / true.volume_m3 - 1,
        area / wheel / true.area_m2 - 1,
        rate * meter * wheel / true.rate_m3_m2 - 1,
    ]
    travel = COURSE_U if by_course else WHEEL_U
    covered = [
        abs(volume - true.volume_m3) <= 2 * METER_U * volume,
        abs(area - true.area_m2) <= 2 * travel * area,
        abs(rate - true.rate_m3_m2) <= 2 * totals.rate_u_m3_m2,
    ]
    said = [*board_messages(review), *apart_messages(review, "metric")] or [run_document(review, "metric").answer]
    return [100 * error for error in errors], covered, said


def main() -> None:
    """Print the table and, below it, what the user reads in each case."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    print(f"{seeds} seeds each. Error in %: mean, and 95 of 100 within; covered of 100.")
    print("| case | volume | area | rate | volume covered | area covered | rate covered |")
    print("|---|---|---|---|---|---|---|")
    sentences = []
    for case in CASES:
        found = [measured(case, FIRST_SEED + seed) for seed in range(seeds)]
        errors, covered = np.array([one[0] for one in found]), np.array([one[1] for one in found])
        within = np.quantile(np.abs(errors), 0.95, axis=0)
        cells = [f"{mean:+.2f}, {most:.2f}" for mean, most in zip(errors.mean(axis=0), within, strict=True)]
        shares = [f"{100 * share:.1f}" for share in covered.mean(axis=0)]
        print(f"| {case.name} | {' | '.join([*cells, *shares])} |", flush=True)
        sentences.append(f"- {case.name}: {' '.join(found[0][2])}")
    print("\n".join(["", *sentences]))


if __name__ == "__main__":
    main()
