"""A backup put back: what is missing here is added, what differs is kept both ways, nothing is overwritten."""

from __future__ import annotations

import os
import shutil
import stat
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from host.backup.contents import CARDS, RUNS, SETTINGS, Places
from host.backup.reading import Backup, Kept
from host.backup.writing import digest_of
from host.documents.words import format_day, plural
from host.errors import NotSavedError, reason_of
from host.run_folder import SUFFIX

_STAGED = ".restoring-"
_OWN_ALONE = 0o600  # as the recorder makes run files
_KINDS: tuple[tuple[str, Callable[[str], bool]], ...] = (
    ("run", lambda name: name.endswith(SUFFIX)),
    ("calibration card", lambda name: name.startswith(f"{CARDS}/")),
    ("rig file", lambda name: name.startswith(f"{RUNS}/rigs/")),
    ("settings file", lambda name: name == SETTINGS),
    ("other file", lambda _: True),
)


@dataclass(frozen=True)
class Restore:
    """What a restore does: files with the path each gets. `same` are here already, `longer` are runs that went on here.

    Of what differs the file here stays, and the one of the backup gets a folder of its own, `beside`.
    """

    backup: Backup
    places: Places
    new: tuple[tuple[Kept, Path], ...]
    differing: tuple[tuple[Kept, Path], ...]
    same: int
    longer: tuple[str, ...]
    beside: str

    @property
    def messages(self) -> tuple[str, ...]:
        """What it would change, sentence by sentence."""
        said = [f"Backup of {format_day(self.backup.made)}: {_counted([kept.name for kept in self.backup.files])}."]
        if self.new:
            said.append(f"Missing here and restored: {_counted([kept.name for kept, _ in self.new])}.")
        if self.same:
            said.append(f"Here already and left alone: {plural(self.same, 'file')}.")
        if self.longer:
            said.append(f"Went on here after the backup and left alone: {', '.join(self.longer)}.")
        if self.differing:
            names = ", ".join(kept.name.partition("/")[2] or kept.name for kept, _ in self.differing)
            said.append(
                f"Different here: {names}. Those here stay; those of the backup go into the folder {self.beside}."
            )
        if not self.new and not self.differing:
            said.append("Nothing is missing here, so nothing changes.")
        return tuple(said)

    def carry_out(self) -> None:
        """Put the files in place; they are all unpacked and checked before the first. Raises UserError."""
        staged: list[tuple[Kept, Path, Path]] = []
        folders: list[Path] = []
        try:
            for kept, target in (*self.new, *self.differing):
                root = self.places.root(kept.name)
                assert root is not None
                folder = next((each for each in folders if each.parent == root), None) or _stage(root)
                if folder not in folders:
                    folders.append(folder)
                staged.append((kept, folder / f"{len(staged)}", target))
            self.backup.unpack((kept, path) for kept, path, _ in staged)
            for kept, path, target in staged:
                _put(kept, path, target)
        finally:
            for folder in folders:
                shutil.rmtree(folder, ignore_errors=True)


def plan_restore(backup: Backup, places: Places) -> Restore:
    """What would change here. Raises UserError where a folder or link is in the way."""
    beside = f"from-backup-{''.join(char for char in backup.made[:16] if char.isalnum() or char == '-')}"
    new, differing, longer, same = [], [], [], 0
    for kept in backup.files:
        target = places.path(kept.name)
        if target is None:  # settings, where none are kept
            continue
        root = places.root(kept.name)
        assert root is not None
        _check_way(root, target)
        if not target.exists():
            new.append((kept, target))
        elif _begins_with(target, kept, exactly=True):
            same += 1
        elif kept.name.endswith(SUFFIX) and _begins_with(target, kept, exactly=False):
            longer.append(kept.name.removeprefix(f"{RUNS}/"))
        else:
            own = places.runs / beside / kept.name
            _check_way(places.runs, own)
            if not own.exists():
                differing.append((kept, own))
            elif _begins_with(own, kept, exactly=True):
                same += 1
            else:
                raise NotSavedError(f"the folder {beside} is there with other files in it: move it away, then restore")
    return Restore(backup, places, tuple(new), tuple(differing), same, tuple(longer), beside)


def _begins_with(path: Path, kept: Kept, *, exactly: bool) -> bool:
    """Whether the file here holds what was kept, and with `exactly` no more."""
    try:
        size = path.stat().st_size
        if size < kept.size or (exactly and size != kept.size):
            return False
        with path.open("rb") as file:
            return digest_of(file, kept.size) == kept.sha256
    except OSError as error:
        reason = reason_of(error)
        raise NotSavedError(f"{path} cannot be compared ({reason}): check its rights, then restore") from None


def _check_way(root: Path, target: Path) -> None:
    """Refuse a way that leads through a link or a file, or ends at a folder."""
    here = root
    for part in target.relative_to(root).parts:
        here = here / part
        try:
            kind = stat.S_IFMT(here.lstat().st_mode)
        except FileNotFoundError:
            return
        except OSError as error:
            raise NotSavedError(f"{here} cannot be looked at ({reason_of(error)}): check its rights") from None
        if kind != (stat.S_IFREG if here == target else stat.S_IFDIR):
            raise NotSavedError(f"{here} is in the way, a link or a folder: move it away, then restore")


def _stage(root: Path) -> Path:
    """A hidden folder on the same disk, so that what is unpacked there can be put in place in one step."""
    try:
        root.mkdir(parents=True, exist_ok=True)
        return Path(tempfile.mkdtemp(prefix=_STAGED, dir=root))
    except OSError as error:
        reason = reason_of(error)
        raise NotSavedError(f"{root} takes no files ({reason}): make room, or check its rights") from None


def _put(kept: Kept, path: Path, target: Path) -> None:
    try:
        os.utime(path, ns=(kept.modified_ns, kept.modified_ns))
        if kept.name.endswith(SUFFIX):
            path.chmod(_OWN_ALONE)
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.exists():  # it has come meanwhile
            raise FileExistsError
        path.rename(target)
    except FileExistsError:
        raise NotSavedError(f"{target} has come meanwhile and is left alone: restore again") from None
    except OSError as error:
        reason = reason_of(error)
        raise NotSavedError(f"{target} cannot be written ({reason}): make room, then restore again") from None


def _counted(names: list[str]) -> str:
    """So many of each kind: "12 runs, 3 calibration cards and 1 rig file"."""
    counts = dict.fromkeys((noun for noun, _ in _KINDS), 0)
    for name in names:
        counts[next(noun for noun, fits in _KINDS if fits(name))] += 1
    words = [plural(count, noun) for noun, count in counts.items() if count]
    return ", ".join(words[:-1]) + (" and " if words[1:] else "") + words[-1] if words else "no files"
