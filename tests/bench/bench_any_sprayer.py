"""Any sprayer, any board, any mishap: how often the stated ± holds the truth on known ground, by what befell it.

.venv/bin/python -m tests.bench.bench_any_sprayer [seeds]
"""

from __future__ import annotations

import sys
from collections import defaultdict

import numpy as np

from tests.independent_board.any_sprayer import Drawn, drawn

FIRST_SEED = 50_000  # no test uses these


def kind_of(one: Drawn) -> str:
    """What befell it, in a word or two."""
    mishaps = one.board.mishaps
    clean = not (mishaps.silences or mishaps.restarts or mishaps.flow_dropped)
    return f"{'switch' if one.switch else 'no switch'}, {'all well' if clean else 'mishaps'}"


def main() -> None:
    """Print the table: shares within the 95 % band, and the furthest off."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    kinds: dict[str, list[Drawn]] = defaultdict(list)
    nothing = 0
    for seed in range(FIRST_SEED, FIRST_SEED + count):
        one = drawn(seed)
        if one is None:
            nothing += 1
            continue
        for kind in (kind_of(one), f"every {one.board.who.interval_ms} ms", "all"):
            kinds[kind].append(one)
    print(f"{count} sprayers, {nothing} without known ground")
    print(f"{'':24}{'runs':>6}{'rate':>8}{'area':>8}{'volume':>8}   furthest (u)   median ± of the rate")
    for kind in sorted(kinds, key=lambda kind: (kind == "all", "every" in kind, len(kind), kind)):
        off = np.abs([one.off for one in kinds[kind]])
        inside = (off <= 2).mean(axis=0) * 100
        totals = [one.review.totals for one in kinds[kind]]
        width = float(np.median([200 * (t.rate_u_m3_m2 or 0) / (t.rate_m3_m2 or 1) for t in totals]))
        shares = "".join(f"{share:8.1f}" for share in inside)
        print(f"{kind:24}{len(off):6}{shares}   {off.max():8.1f}       {width:.1f} %")


if __name__ == "__main__":
    main()
