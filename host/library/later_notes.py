"""Notes and corrections added after a run: a TOML file beside it, dated, only ever appended to.

`2026-05-14T0915-harrow-lea.sward` has `2026-05-14T0915-harrow-lea.notes.toml`. The run file itself stays as it is.
"""

from __future__ import annotations

import os
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from host.errors import BadInputError, DamagedFileError, NotFoundError, NotSavedError, UserError
from host.events import NOTE_QUANTITIES, note_key
from host.journal.runs import recorded_rig
from host.rig import Rig, rig_from_toml
from host.rig.noted import check_note
from host.run_folder import notes_path
from host.toml_text import read_text, toml_tree

_LARGEST = 16 << 20  # bytes


def add_note(run: Path, key: str, value: str, at: datetime, by: str = "") -> Path:
    """Append a note; a later one of the same key stands for an earlier one, which stays in the file.

    `by` is the guest of a shared page who wrote it.

    Raises UserError when what is there cannot be read, a note that is read as a quantity cannot be one (nothing is
    changed then), or nothing can be written.
    """
    import tomli_w

    path = notes_path(run)
    key = note_key(key)
    if not key:
        raise BadInputError("the note has no key: give KEY=TEXT, such as weather='light air, 14 °C'")
    if key in NOTE_QUANTITIES:
        check_note(key, value, _rig_of(run))
    read_notes(run)
    before = path.stat().st_size if path.exists() else 0
    row = {"at": at.replace(microsecond=0), "key": key, "value": value} | ({"by": by} if by else {})
    try:
        with path.open("a", encoding="utf-8") as file:
            file.write("[[note]]\n" + tomli_w.dumps(row) + "\n")
    except OSError as error:
        with suppress(OSError):  # half a note would make the others unreadable
            os.truncate(path, before)
        raise NotSavedError(
            f"the note cannot be written to {path} ({error.strerror}): make room or check rights"
        ) from None
    return path


def _rig_of(run: Path) -> Rig | None:
    """The rig that the run recorded; None where it cannot be read: the review says so."""
    try:
        return rig_from_toml(recorded_rig(run), "the recorded rig")
    except UserError:
        return None


def read_notes(run: Path) -> dict[str, str]:
    """The newest later note under each key; empty when there are none. Raises UserError for a file that is no notes."""
    path = notes_path(run)
    where = f"the file of notes {path}"
    try:
        content = toml_tree(read_text(path, where, _LARGEST), where, "mend that file or move it away")
    except NotFoundError:
        if path.is_dir():
            raise
        return {}
    found: dict[str, str] = {}
    rows = content.get("note", [])
    for row in rows if isinstance(rows, list) else [None]:
        if not isinstance(row, dict) or not isinstance(row.get("key"), str) or not isinstance(row.get("value"), str):
            raise DamagedFileError(
                f"the notes {path} hold something that is no note: give each [[note]] a key and a value"
            )
        found[note_key(row["key"])] = row["value"]
    return found
