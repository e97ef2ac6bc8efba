"""Backups written by hand from BACKUP_FILE.md, so that they may hold what ours never would."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from pathlib import Path
from typing import Any

GOOD = {"runs/2026-05-14T0915-lea.sward": b"H 000000.000000 {} 00000000\n"}


def sealed(data: bytes) -> bytes:
    """A zip's bytes with the right digest at the end."""
    return data[:-64] + hashlib.sha256(data[:-64]).hexdigest().encode()


def crafted(
    files: dict[str, bytes],
    *,
    manifest: dict[str, Any] | None = None,
    mode: int = 0o100600,
    extra: str = "",
    method: int = zipfile.ZIP_STORED,
) -> bytes:
    """A backup of `files`; keys of `manifest` replace true ones, `extra` is an entry that it does not name."""
    listed = [
        {"name": name, "size": len(data), "sha256": hashlib.sha256(data).hexdigest(), "modified_ns": 1}
        for name, data in files.items()
    ]
    whole = {
        "kind": "swardflow backup",
        "format": 1,
        "software": "by hand",
        "made": "2026-05-14T09:15:00+00:00",
        "recording": [],
        "files": listed,
    }
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name)
            entry.external_attr = mode << 16
            archive.writestr(entry, data, compress_type=method)
        if extra:
            archive.writestr(extra, b"x")
        archive.writestr("manifest.json", json.dumps(whole | (manifest or {})))
        archive.comment = b"swardflow backup sha256 " + b"0" * 64
    return sealed(buffer.getvalue())


def tree(folder: Path) -> dict[str, tuple[bytes, int]]:
    """Every file below a folder, hidden ones too: bytes and time of change in ns."""
    return {
        path.relative_to(folder).as_posix(): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
