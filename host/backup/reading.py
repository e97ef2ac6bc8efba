"""A backup opened: nothing in it is believed before every byte of it has been checked."""

from __future__ import annotations

import hashlib
import json
import os
import stat
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from host.backup.contents import belongs
from host.backup.writing import DIGITS, FORMAT, KIND, MANIFEST, SEAL, digest_of
from host.errors import DamagedFileError, NotFoundError, NotSavedError, reason_of

MOST_FILES = 200_000
MOST_BYTES = 200 << 30  # of all files together, unpacked
_MOST_MANIFEST = 64 << 20
_CHUNK = 1 << 20
_NOT_WHOLE = "is not a whole backup: it is damaged, cut short or packed anew; use another copy"
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)  # each other one has errors of its own
_WRONG = (
    *(zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError, KeyError, TypeError),
    OverflowError,  # of a size that is infinite
)


@dataclass(frozen=True)
class Kept:
    """One file in a backup; `modified_ns` is in nanoseconds since 1970."""

    name: str
    size: int
    sha256: str
    modified_ns: int


@dataclass(frozen=True)
class Backup:
    """A backup of which every byte was checked; `made` is ISO 8601; `recording` are runs that went on after it."""

    path: Path
    made: str
    files: tuple[Kept, ...]
    recording: frozenset[str]

    def unpack(self, targets: Iterable[tuple[Kept, Path]]) -> None:
        """Write files of it to paths where there are none. Raises UserError."""
        with _open_zip(self.path) as (archive, _):
            for kept, target in targets:
                try:
                    target.parent.mkdir(parents=True, exist_ok=True)
                    with target.open("xb") as file:
                        _copy(archive, kept, self.path, file)
                        file.flush()
                        os.fsync(file.fileno())
                except OSError as error:
                    reason = reason_of(error)
                    raise NotSavedError(
                        f"{kept.name} cannot be written ({reason}), so nothing is restored: make room, then try again"
                    ) from None


def open_backup(path: Path, most_bytes: int = MOST_BYTES) -> Backup:
    """Read the manifest and check every byte against it; `most_bytes` bounds all files together, unpacked.

    Raises UserError, with one message for whatever is wrong.
    """
    with _open_zip(path) as (archive, file):
        _check_seal(file, path)
        backup = _read_manifest(archive, path)
        _check_entries(archive, backup, most_bytes)
        for kept in backup.files:
            _copy(archive, kept, path, None)
    return backup


@contextmanager
def _open_zip(path: Path) -> Iterator[tuple[zipfile.ZipFile, BinaryIO]]:
    try:
        file = path.open("rb")
    except (FileNotFoundError, IsADirectoryError, NotADirectoryError):
        raise NotFoundError(f"there is no file {path}: give the backup's own name") from None
    except OSError as error:
        raise DamagedFileError(f"{path} cannot be read ({reason_of(error)}): copy it anew") from None
    with file:
        try:
            with zipfile.ZipFile(file) as archive:
                if any(entry.compress_type not in _METHODS for entry in archive.infolist()):
                    raise NotImplementedError
                yield archive, file
        except _WRONG:
            raise DamagedFileError(f"{path.name} {_NOT_WHOLE}") from None
        except OSError as error:
            raise DamagedFileError(f"{path.name} cannot be read ({reason_of(error)}): use another copy") from None


def _check_seal(file: BinaryIO, path: Path) -> None:
    end = file.seek(0, os.SEEK_END) - DIGITS
    file.seek(max(0, end - len(SEAL)))
    seal, digits = file.read(len(SEAL)), file.read()
    if end <= 0 or seal != SEAL or digits != digest_of(file, end).encode():
        raise DamagedFileError(f"{path.name} {_NOT_WHOLE}")


def _read_manifest(archive: zipfile.ZipFile, path: Path) -> Backup:
    entry = archive.getinfo(MANIFEST)
    if entry.file_size > _MOST_MANIFEST:
        raise DamagedFileError(f"{path.name} {_NOT_WHOLE}")
    said = json.loads(archive.read(entry))
    if not isinstance(said, dict) or said.get("kind") != KIND:
        raise DamagedFileError(f"{path.name} is a zip file and no backup of Swardflow: choose another")
    if said.get("format") not in range(1, FORMAT + 1):
        raise DamagedFileError(f"{path.name} was written by a later Swardflow: update this one, then restore")
    files = tuple(_kept(each) for each in said["files"])
    return Backup(path, str(said["made"]), files, frozenset(map(str, said["recording"])))


def _kept(said: Any) -> Kept:
    kept = Kept(str(said["name"]), int(said["size"]), str(said["sha256"]), int(said["modified_ns"]))
    if kept.size < 0 or not 0 <= kept.modified_ns < 1 << 63:
        raise ValueError
    return kept


def _check_entries(archive: zipfile.ZipFile, backup: Backup, most_bytes: int) -> None:
    """The zip holds the files of the manifest and nothing else, each a plain file of the size that is stated."""
    names = [kept.name for kept in backup.files]
    bad = next((name for name in names if not belongs(name)), None)
    if bad is not None:
        raise DamagedFileError(
            f"{backup.path.name} holds {bad[:80]!r}, which no backup may: nothing is restored from it"
        )
    entries = archive.infolist()
    if sorted(entry.filename for entry in entries) != sorted([*names, MANIFEST]) or len(set(names)) < len(names):
        raise DamagedFileError(f"{backup.path.name} {_NOT_WHOLE}")
    sizes = {kept.name: kept.size for kept in backup.files}
    if len(names) > MOST_FILES or sum(sizes.values()) > most_bytes:
        raise DamagedFileError(
            f"{backup.path.name} is larger unpacked than can be taken here: nothing is restored from it"
        )
    for entry in entries:
        kind = stat.S_IFMT(entry.external_attr >> 16)
        wanted = sizes.get(entry.filename, entry.file_size)
        if kind not in (0, stat.S_IFREG) or entry.file_size != wanted:
            raise DamagedFileError(
                f"{backup.path.name} holds {entry.filename[:80]!r}, which is no plain file: nothing is restored from it"
            )


def _copy(archive: zipfile.ZipFile, kept: Kept, path: Path, target: BinaryIO | None) -> None:
    digest, done = hashlib.sha256(), 0
    with archive.open(kept.name) as inner:
        while chunk := inner.read(_CHUNK):
            digest.update(chunk)
            done += len(chunk)
            if target is not None:
                target.write(chunk)
    if done != kept.size or digest.hexdigest() != kept.sha256:
        raise DamagedFileError(f"{path.name} {_NOT_WHOLE}")
