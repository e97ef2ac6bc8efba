"""What a guided calibration has taken so far, kept beside the cards until its card is kept.

A draft is written after every catch, so that a refusal at the end, Ctrl-C, a port that is gone or a closed terminal
loses nothing. There is one per rig and kind; the card's own file takes its place.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from host.calibrate.amounts import Amount
from host.calibrate.boom_guide import NozzleCatch
from host.calibrate.cards import slug
from host.calibrate.guide import Taken
from host.calibrate.vessels import Vessel
from host.errors import UserError

FORMAT = 1
_FIELDS: dict[str, Any] = {"name": str, "vessel": Vessel, "amount": int | float | Amount}


@dataclass(frozen=True)
class Draft:
    """Rows as the kind has them (see the `…_rows` below), and when the last one was taken."""

    changed: datetime
    rows: list[dict[str, Any]]


class DraftFile:
    """The draft of one rig and kind in the folder for cards."""

    def __init__(self, folder: Path, rig_name: str, kind: str) -> None:
        self.path = folder / slug(rig_name) / f"{kind}.draft"
        self._about = {"format": FORMAT, "kind": kind, "rig": rig_name}

    def load(self) -> Draft | None:
        """What was kept, None when there is nothing. Raises UserError when it cannot be read."""
        try:
            tree = json.loads(self.path.read_bytes())
            draft = Draft(datetime.fromisoformat(tree["changed"]), tree["rows"])
            if {name: tree[name] for name in self._about} != self._about or not isinstance(draft.rows, list):
                raise ValueError
        except FileNotFoundError:
            return None
        except NotADirectoryError:
            raise UserError(f"{self.path.parent} is no folder: give another one for cards with --cards.") from None
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            raise UserError(
                f"the draft {self.path} cannot be read, or is of another rig: move it out of the folder, then begin."
            ) from None
        return draft if draft.rows else None

    def save(self, rows: Sequence[Mapping[str, Any]], now: datetime) -> None:
        """Keep the rows in place of those before; no rows, no file. Raises UserError when it cannot be written."""
        if not rows:
            self.drop()
            return
        text = json.dumps({**self._about, "changed": now.isoformat(timespec="seconds"), "rows": list(rows)}, indent=1)
        fresh = self.path.with_suffix(".draft-new")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with fresh.open("w", encoding="utf-8") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            fresh.replace(self.path)
        except OSError as error:
            reason = (error.strerror or "unknown reason").lower()
            raise UserError(f"the draft cannot be written to {self.path.parent} ({reason}): see to --cards.") from None

    def drop(self) -> None:
        """Take the file away: its card is kept, or it is not wanted."""
        self.path.unlink(missing_ok=True)


def taken_rows(taken: Sequence[Taken]) -> list[dict[str, Any]]:
    """Rows of meter, wheel and pressure."""
    return [asdict(one) for one in taken]


def taken_of(draft: Draft) -> list[Taken]:
    """The way back. Raises UserError when the rows are not of such a kind."""
    return [_made(Taken, row | {"vessel": _vessel(row)}) for row in _mappings(draft)]


def boom_rows(rounds: Sequence[Sequence[NozzleCatch]]) -> list[dict[str, Any]]:
    """Rows of a boom, each with the number of its round."""
    return [{"round": n, **asdict(one)} for n, caught in enumerate(rounds, start=1) for one in caught]


def boom_of(draft: Draft) -> list[list[NozzleCatch]]:
    """The way back."""
    rounds: dict[str, list[NozzleCatch]] = {}
    for row in _mappings(draft):
        caught = row.get("amount")
        if not isinstance(caught, dict) or not caught.get("vessel"):
            raise _not_whole()
        amount = _made(Amount, caught | {"vessel": _vessel(caught)})
        rest = {name: value for name, value in row.items() if name not in ("round", "amount")}
        rounds.setdefault(str(row.get("round")), []).append(_made(NozzleCatch, rest | {"amount": amount}))
    return list(rounds.values())


def course_rows(distance_m: float, times_s: Sequence[float]) -> list[dict[str, Any]]:
    """Rows of a timed course."""
    return [{"course_m": distance_m, "time_s": time} for time in times_s]


def course_of(draft: Draft) -> tuple[float, list[float]]:
    """The way back: the length of the course and the times."""
    try:
        rows = [(float(row["course_m"]), float(row["time_s"])) for row in _mappings(draft)]
    except (KeyError, TypeError, ValueError):
        raise _not_whole() from None
    return rows[0][0], [time for _, time in rows]


def _mappings(draft: Draft) -> list[dict[str, Any]]:
    if not all(isinstance(row, dict) for row in draft.rows):
        raise _not_whole()
    return draft.rows


def _vessel(row: Mapping[str, Any]) -> Vessel | None:
    vessel = row.get("vessel")
    if vessel is not None and not isinstance(vessel, dict):
        raise _not_whole()
    return _made(Vessel, vessel) if vessel else None


def _made(kind: type[Any], fields: Mapping[str, Any]) -> Any:
    for name, value in fields.items():
        missing = value is None and name in ("duration_s", "mean_counts", "vessel")
        if not missing and not isinstance(value, _FIELDS.get(name, int | float)):
            raise _not_whole()
    try:
        return kind(**fields)
    except TypeError:
        raise _not_whole() from None


def _not_whole() -> UserError:
    return UserError("the draft of this calibration is not whole: begin anew, or move its file out of the folder.")
