"""A backup written: a plain zip with a manifest, in whole or not at all (BACKUP_FILE.md)."""

from __future__ import annotations

import hashlib
import io
import json
import os
import stat
import time
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

from host.backup.contents import Found, Places, find_files
from host.errors import NotSavedError, reason_of
from host.run_folder import SUFFIX

FORMAT = 1
KIND = "swardflow backup"
MANIFEST = "manifest.json"
SEAL = b"swardflow backup sha256 "  # then the digest of every byte before it: the zip's comment, and so its last bytes
DIGITS = 64
ENDING = ".zip"
_CHUNK = 1 << 20
_ZIP_YEARS = range(1980, 2108)


@dataclass(frozen=True)
class Written:
    """What is in the backup, and messages about what is not, or only in part."""

    files: int
    runs: int
    messages: tuple[str, ...]
    left_out: int


def backup_name(now: datetime) -> str:
    """What a backup of that moment is called: swardflow-backup-2026-05-14T0915.zip."""
    return f"swardflow-backup-{now:%Y-%m-%dT%H%M}{ENDING}"


def write_backup(
    places: Places,
    out: Path,
    *,
    is_recording: Callable[[Path], bool],
    now: datetime,
    software: str,
    progress: Callable[[int, int], None] = lambda done, whole: None,
) -> Written:
    """Write all that belongs in a backup to a new file. A run that `is_recording` is kept to its last whole record.

    `progress(done, all)` is called with files. Raises UserError; then there is no file.
    """
    found, left_out = find_files(places)
    if out.exists():
        raise NotSavedError(f"{out} exists already and is not overwritten: move it away or give another name")
    fresh = out.with_name(f".{out.name}.new")
    try:
        with fresh.open("x+b") as file:
            manifest = _write_zip(file, found, is_recording, now, software, progress)
            _seal(file)
            file.flush()
            os.fsync(file.fileno())
        fresh.rename(out)
    except OSError as error:
        fresh.unlink(missing_ok=True)
        reason = reason_of(error)
        raise NotSavedError(f"{out} cannot be written ({reason}): make room, or choose another place") from None
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise
    recording = [
        f"{name.removeprefix('runs/')} is being recorded: it is in the backup as far as it is written."
        for name in manifest["recording"]
    ]
    runs = sum(kept["name"].endswith(SUFFIX) for kept in manifest["files"])
    return Written(len(manifest["files"]), runs, (*recording, *left_out), len(left_out))


def _write_zip(
    file: BinaryIO,
    found: list[Found],
    is_recording: Callable[[Path], bool],
    now: datetime,
    software: str,
    progress: Callable[[int, int], None],
) -> dict[str, Any]:
    files, recording = [], []
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for done, each in enumerate(found):
            progress(done, len(found))
            running = each.name.endswith(SUFFIX) and is_recording(each.path)
            try:
                source = each.path.open("rb")
            except FileNotFoundError:  # deleted in this moment
                continue
            with source:
                status = os.fstat(source.fileno())
                length = _whole_records(source, status.st_size) if running else status.st_size
                digest, size = _add(archive, each.name, source, length, status.st_mtime)
            files.append({"name": each.name, "size": size, "sha256": digest, "modified_ns": max(0, status.st_mtime_ns)})
            recording += [each.name] if running else []
        manifest = {
            "kind": KIND,
            "format": FORMAT,
            "software": software,
            "made": now.isoformat(timespec="seconds"),
            "recording": recording,
            "files": files,
        }
        data = json.dumps(manifest, indent=1).encode()
        _add(archive, MANIFEST, io.BytesIO(data), len(data), now.timestamp())
        archive.comment = SEAL + b"0" * DIGITS
    return manifest


def _add(archive: zipfile.ZipFile, name: str, source: BinaryIO, length: int, modified: float) -> tuple[str, int]:
    """Digest and number of bytes of what was added."""
    moment = time.localtime(modified)[:6]
    entry = zipfile.ZipInfo(name, moment if moment[0] in _ZIP_YEARS else (_ZIP_YEARS[0], 1, 1, 0, 0, 0))
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.create_system = 3  # Unix, for the next line
    entry.external_attr = (stat.S_IFREG | 0o600) << 16
    digest, done = hashlib.sha256(), 0
    with archive.open(entry, "w", force_zip64=length > 1 << 30) as inner:
        while chunk := source.read(min(_CHUNK, length - done)):
            digest.update(chunk)
            inner.write(chunk)
            done += len(chunk)
    return digest.hexdigest(), done


def _whole_records(source: BinaryIO, size: int) -> int:
    """Bytes up to the end of the last whole record; each ends with a line feed."""
    end = size
    while end:
        start = max(0, end - _CHUNK)
        source.seek(start)
        found = source.read(end - start).rfind(b"\n")
        if found >= 0:
            end = start + found + 1
            break
        end = start
    source.seek(0)
    return end


def _seal(file: BinaryIO) -> None:
    """Put the digest of all that stands before it into the zip's comment, at the end of the file."""
    end = file.seek(0, os.SEEK_END) - DIGITS
    digits = digest_of(file, end)
    file.seek(end)
    file.write(digits.encode())


def digest_of(file: BinaryIO, length: int) -> str:
    """SHA-256 of the first `length` bytes, in hexadecimal digits."""
    file.seek(0)
    digest, left = hashlib.sha256(), length
    while left and (chunk := file.read(min(_CHUNK, left))):
        digest.update(chunk)
        left -= len(chunk)
    return digest.hexdigest()
