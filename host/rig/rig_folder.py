"""Rig files saved: written anew in whole, what stood there before kept beside with its date; results of bring-ups, too.

Beside `harrow-lea.toml` a folder `harrow-lea` holds the earlier versions and the results of bring-ups.
"""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

from host.documents.words import format_day
from host.errors import BadInputError, NotFoundError, NotNowError, NotSavedError, reason_of
from host.rig.known import SUFFIX, KnownRig, known_rigs
from host.rig.model import Rig
from host.run_folder import file_slug, numbered, rigs_folder
from host.toml_text import read_text
from host.whole_file import write_whole

_BRINGUP = "bringup-"
_DAY = len("2026-05-14")


def add_rig(runs: Path, rig: Rig) -> KnownRig:
    """Write a new rig file into the folder of a folder of runs.

    Raises BadInputError when there is a rig of that name: its calibrations would be taken for this one's.
    """
    _check_name(runs, rig.name, None)
    folder = _made(rigs_folder(runs.expanduser()))
    stem = file_slug(rig.name)
    for name in numbered(stem):
        path = folder / f"{name}{SUFFIX}"
        if not path.exists() and not (folder / name).exists():
            _write(path, rig.toml)
            return KnownRig(name, path, rig)
    raise NotSavedError(f"there are 99 rigs called {stem}: give this one another name")


def change_rig(runs: Path, name: str, rig: Rig, seen: str, now: datetime) -> KnownRig:
    """Write a known rig anew; the version before goes into the folder beside it. `seen` is the text that was changed.

    Raises NotNowError when the file is not as it was seen: somebody else has changed it meanwhile.
    """
    path = own_rig(runs, name).path
    before = rig_file_text(path)
    if before != seen:
        raise NotNowError("this sprayer was changed meanwhile, here or on another screen: open it again")
    _check_name(runs, rig.name, name)
    if before != rig.toml:
        _write(_unused(_made(path.with_suffix("")), f"{now:%Y-%m-%dT%H%M%S}", SUFFIX), before)
        _write(path, rig.toml)
    return KnownRig(name, path, rig)


def own_rig(runs: Path, name: str) -> KnownRig:
    """The keeper's own rig of that name, which is no path. Raises NotFoundError."""
    for known in known_rigs(runs):
        if known.name == name:
            return known
    raise NotFoundError(f"there is no sprayer {name[:60]!r} here: choose one from the list")


def rig_file_text(path: Path) -> str:
    """The text of a rig file. Raises UserError."""
    return read_text(path, f"rig file {path.name}")


def earlier_versions(path: Path) -> list[Path]:
    """Earlier versions of a rig file, the newest first."""
    return sorted(path.with_suffix("").glob(f"[0-9]*{SUFFIX}"), reverse=True)


def keep_bringup(runs: Path, name: str, text: str, now: datetime) -> Path:
    """Save the result of a bring-up (JSON) with a rig; where it is. Raises NotSavedError."""
    kept = _unused(_made(_beside(runs, name)), f"{_BRINGUP}{now:%Y-%m-%dT%H%M%S}", ".json")
    _write(kept, text)
    return kept


def last_bringup(runs: Path, name: str) -> str:
    """How the last bring-up with a rig came out, with its day; empty before the first."""
    newest = max(_beside(runs, name).glob(f"{_BRINGUP}*.json"), default=None)
    if newest is None:
        return ""
    try:
        answer = str(json.loads(newest.read_text(encoding="utf-8"))["answer"])
    except (OSError, ValueError, KeyError, TypeError):
        return "cannot be read: try the board again"
    return f"{format_day(newest.stem.removeprefix(_BRINGUP)[:_DAY], time=False)}: {answer}"


def _beside(runs: Path, name: str) -> Path:
    return rigs_folder(runs.expanduser()) / Path(name).stem


def _check_name(runs: Path, name: str, own: str | None) -> None:
    for known in known_rigs(runs):
        if known.rig and known.name != own and known.rig.name.casefold() == name.casefold():
            raise BadInputError(f'there is a sprayer called "{known.rig.name}" already: give this one another name')


def _unused(folder: Path, stem: str, suffix: str) -> Path:
    return next(path for name in numbered(stem, 999) if not (path := folder / f"{name}{suffix}").exists())


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _not_saved(folder, error) from None
    return folder


def _write(path: Path, text: str) -> None:
    try:
        write_whole(path, text.encode())
    except OSError as error:
        raise _not_saved(path, error) from None


def _not_saved(path: Path, error: OSError) -> NotSavedError:
    reason = reason_of(error)
    return NotSavedError(f"{path} cannot be written ({reason}): make room, or check the folder's rights")
