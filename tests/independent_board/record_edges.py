"""Writes the small recordings of `recordings/edges/`: one of each thing that goes wrong at the edges.

.venv/bin/python -m tests.independent_board.record_edges
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from host.journal import JournalWriter, Snapshot
from tests.independent_board.board import Board, Mishaps, Restart
from tests.independent_board.cases import NO_SWITCH, NO_WHEEL
from tests.independent_board.lines import Who
from tests.independent_board.reading import rig_toml
from tests.independent_board.sprayer import Plan, Sprayer, spray

FOLDER = Path(__file__).parents[2] / "recordings" / "edges"
PLAN = Plan(passes=2, pass_m=12.0, turn_s=6.0)


@dataclass(frozen=True)
class Kind:
    """One recording: the board, given what the sprayer did, and what the rig file claims."""

    name: str
    board: Any
    rig: dict[str, Any]


KINDS = (
    Kind(
        "silent-over-a-turn",
        lambda s: Board(mishaps=Mishaps(silences=((s.passes_s[0][1] - 3, s.passes_s[1][0] + 3),))),
        {},
    ),
    Kind("no-switch", lambda s: Board(Who(capabilities=NO_SWITCH)), {"switch": False}),
    Kind("restart", lambda s: Board(mishaps=Mishaps(restarts=(Restart(s.passes_s[0][0] + 5),))), {}),
    Kind("course-only", lambda s: Board(Who(capabilities=NO_WHEEL)), {"wheel": False}),
    Kind("dropped-pulses", lambda s: Board(mishaps=Mishaps(wheel_dropped=tuple(range(60, 72)))), {}),
    Kind("every-1000-ms", lambda s: Board(Who(interval_ms=1000)), {}),
)


def write(kind: Kind, folder: Path) -> Path:
    """Record one; the file must not be there yet."""
    rng = np.random.default_rng([12, KINDS.index(kind)])
    sprayer: Sprayer = spray(replace(PLAN), rng)
    path = folder / f"2026-05-2{KINDS.index(kind)}T0900-harrow-lea-{kind.name}.sward"
    toml = rig_toml(PLAN, **kind.rig).replace("Other sprayer", "Harrow Lea trial boom")
    writer = JournalWriter(path, Snapshot({"started": f"{path.name[:10]}T09:00:00+01:00"}, toml))
    writer.note("area", "trial strip", 0.0)
    writer.event("run_start", 0.0)
    stamp = 0.0
    for stamp, line in kind.board(sprayer).lines(sprayer, rng):
        writer.raw_line(line[:-1], stamp)
    writer.event("run_end", stamp, reason="end of the trial")
    writer.close("complete", "end of the trial", 0, stamp)
    return path


def main() -> None:
    """Write all of them anew."""
    FOLDER.mkdir(exist_ok=True)
    for path in FOLDER.glob("*.sward"):
        path.unlink()
    for kind in KINDS:
        print(write(kind, FOLDER).name)


if __name__ == "__main__":
    main()
