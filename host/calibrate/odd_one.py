"""Which of several repeats does not belong to the others, if any: Student's test of each against the rest."""

from __future__ import annotations

import math
from collections.abc import Sequence

from host.calibrate.uncertainty import pooled, student_factor

FALSE_RATE = 0.05  # of sets in which a good repeat is accused, over all repeats together (Bonferroni)


def odd_one_out(
    values: Sequence[float], own: Sequence[float], assumed: float, least: Sequence[float], among: int
) -> int | None:
    """Place of the value that lies farthest from the rest, when that is farther than scatter explains; else None.

    `values` are relative to their level, `own` their own standard uncertainties, `assumed` the scatter that repeats are
    assumed to have, `least` a distance for each that is never called odd. Each value is judged without itself, against
    the scatter of the rest pooled with the assumed one; the level of the test is divided over the `among` values of the
    whole set. Two values that differ too much are both suspect: the first is named.
    """
    count = len(values)
    if count < 2:
        return None
    found: list[tuple[float, int]] = []
    for index, value in enumerate(values):
        rest = [v for i, v in enumerate(values) if i != index]
        level = math.fsum(rest) / len(rest)
        scatter = math.sqrt(math.fsum((v - level) ** 2 for v in rest) / (len(rest) - 1)) if len(rest) > 1 else 0.0
        spread, degrees = pooled(scatter, len(rest) - 1, assumed)
        apart = math.hypot(spread * math.sqrt(1.0 + 1.0 / len(rest)), own[index])
        limit = max(student_factor(1.0 - FALSE_RATE / among, degrees) * apart, least[index])
        if abs(value - level) > limit:
            found.append((abs(value - level) / limit, -index))
    return -max(found)[1] if found else None
