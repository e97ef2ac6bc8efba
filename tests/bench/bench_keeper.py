"""The keeper's arithmetic, counted: doses on the mixing sheet, wrong and right calibrations, bad command lines.

The draws are those of the tests, with seeds that no test uses. Prints one line for each count, and what failed.

    .venv/bin/python -m tests.bench.bench_keeper [doses [lines [seed]]]
"""

from __future__ import annotations

import random
import sys
import time
from collections import Counter
from collections.abc import Callable

import numpy as np

from tests.host.calibrate.test_checks import WRONG, a_boom, a_meter, a_transducer, a_walker, a_wheel, came_of
from tests.host.plan.bad_words import all_bad_lines, bad_line, extreme_line, slipped_line
from tests.host.plan.test_bad_lines import answered_or_refused, readable, refused
from tests.host.plan.test_usual_doses import drawn, hold_drawn

RIGHT = 200


def failures(work: Callable[[], None], many: Counter[str], what: str) -> None:
    """Count one try, and its failure with what it says."""
    many["all"] += 1
    try:
        work()
    except BaseException as error:
        many["failed"] += 1
        print(f"  {what}: {type(error).__name__} {str(error)[:300]}", flush=True)


def doses(count: int, seed: int) -> None:
    """Usual doses on usual lawns: total within 0.5 %, parts that sum to it, what a tool shows."""
    draw, many = random.Random(seed), Counter[str]()
    for _ in range(count):
        dose = drawn(draw)
        failures(lambda dose=dose: hold_drawn(dose, draw), many, f"dose {dose[:2]}")  # type: ignore[misc]
    print(f"doses: {many['all']} sheets, {many['failed']} off")


def lines(count: int, seed: int) -> None:
    """Bad lines are refused in one message; slips and extreme sizes are refused or answered readably."""
    draw, many = random.Random(seed), Counter[str]()
    bad = list(all_bad_lines())
    bad += [bad_line(draw) for _ in range(max(0, count - len(bad)))]
    for words, what in bad:
        failures(lambda words=words, what=what: refused(words, what), many, " ".join(words))  # type: ignore[misc]
    print(f"bad lines: {many['all']}, {many['failed']} not refused as they should be")
    for name, drawer, judge in (("slips", slipped_line, answered_or_refused), ("extreme", extreme_line, readable)):
        many = Counter()
        for _ in range(count // 2):
            words = drawer(draw)
            failures(lambda words=words, judge=judge: judge(words), many, " ".join(words))  # type: ignore[misc]
        print(f"{name}: {many['all']}, {many['failed']} with an answer that cannot be read")


def calibrations(seed: int) -> None:
    """How many wrong ones are asked about, and how many right ones."""
    caught = sum(came_of(*row[:4]).in_doubt for row in WRONG.values())
    print(f"wrong calibrations: {len(WRONG)}, {caught} asked about")
    for start in range(seed, seed + 5):
        rng = np.random.default_rng(start)
        made = (a_meter, a_transducer, a_wheel, a_walker, a_boom)
        asked = sum(made[number % 5](rng, bool(number // 5 % 2)).in_doubt for number in range(RIGHT))
        print(f"right calibrations, seed {start}: {RIGHT}, {asked} asked about")


def main() -> None:
    """Doses and lines take turns in one process, so that what one leaves behind would trip the other."""
    count, bad, seed = (*map(int, sys.argv[1:]), *(10_000, 5_000, 5_100)[len(sys.argv) - 1 :])
    began = time.process_time()
    calibrations(seed)
    for part in range(2):
        doses(count // 2, seed + part)
        lines(bad, seed + part)
    print(f"{time.process_time() - began:.0f} s of processor time")


if __name__ == "__main__":
    main()
