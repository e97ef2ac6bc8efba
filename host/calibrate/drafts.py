"""A calibration that is not finished: its points, saved beside the cards until its card is saved.

A draft is written after every step, so that a refusal at the end, Ctrl-C, a lost port or a closed terminal loses
nothing. There is one per rig and kind; the card takes its place.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from host.calibrate.cards import slug
from host.errors import DamagedFileError, NotSavedError, reason_of
from host.whole_file import write_whole

FORMAT = 1


@dataclass(frozen=True)
class Draft:
    """The points as their kind writes them, and when the last one was taken."""

    changed: datetime
    rows: list[dict[str, Any]]


class DraftFile:
    """The draft of one rig and kind in the folder for cards."""

    def __init__(self, folder: Path, rig_name: str, kind: str) -> None:
        self.path = folder / slug(rig_name) / f"{kind}.draft"
        self._about = {"format": FORMAT, "kind": kind, "rig": rig_name}

    def load(self) -> Draft | None:
        """What was saved, None when there is nothing. Raises UserError when it cannot be read."""
        try:
            tree = json.loads(self.path.read_bytes())
            draft = Draft(datetime.fromisoformat(tree["changed"]), tree["rows"])
            if {name: tree[name] for name in self._about} != self._about or not isinstance(draft.rows, list):
                raise ValueError
            if not all(isinstance(row, dict) for row in draft.rows):
                raise ValueError
        except FileNotFoundError:
            return None
        except NotADirectoryError:
            raise NotSavedError(
                f"{self.path.parent} is no folder: move it away, or choose another for cards."
            ) from None
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            raise DamagedFileError(
                f"the draft {self.path} cannot be read, or is of another rig: move it out of the folder, then start."
            ) from None
        return draft if draft.rows else None

    def save(self, rows: Sequence[Mapping[str, Any]], now: datetime) -> None:
        """Write the rows in place of those before; no rows, no file. Raises UserError when it cannot be written."""
        if not rows:
            self.drop()
            return
        text = json.dumps({**self._about, "changed": now.isoformat(timespec="seconds"), "rows": list(rows)}, indent=1)
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(self.path, text.encode())
        except OSError as error:
            reason = reason_of(error)
            raise NotSavedError(
                f"the draft cannot be written to {self.path.parent} ({reason}): make room there, or check its rights."
            ) from None

    def drop(self) -> None:
        """Take the file away: its card is saved, or it is not wanted."""
        self.path.unlink(missing_ok=True)


def point_from(kind: type[Any], row: object, types: Mapping[str, Any]) -> Any:
    """A point of the dataclass `kind` from a draft's row; `types` say what each field may be.

    Raises UserError when the row does not hold one.
    """
    if not isinstance(row, Mapping) or set(row) - set(types):
        raise not_whole()
    if any(isinstance(value, bool) and types[name] is not bool for name, value in row.items()):
        raise not_whole()
    if any(not isinstance(value, types[name]) for name, value in row.items()):
        raise not_whole()
    try:
        return kind(**row)
    except TypeError:
        raise not_whole() from None


def not_whole() -> DamagedFileError:
    """What is said of a draft whose rows are not what its kind writes."""
    return DamagedFileError("the draft of this calibration is damaged: start over, or move its file out of the folder.")
