"""The index: what was worked out of each file, kept under the file's name, size and time. A cache, nothing more."""

from __future__ import annotations

import json
import os
import sqlite3
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

NAME = ".swardflow-index.sqlite"
_FORMAT = 4
_TABLES = (
    """CREATE TABLE IF NOT EXISTS kept (
    name BLOB, calibration TEXT, stamp TEXT, body TEXT, PRIMARY KEY (name, calibration)) WITHOUT ROWID""",
    # One row for each way of reading, the newest last.
    "CREATE TABLE IF NOT EXISTS readings (number INTEGER PRIMARY KEY, calibration TEXT UNIQUE)",
)
_READINGS = 4  # ways of reading that are kept beside the recorded one: every new card makes another


@dataclass(frozen=True)
class Kept:
    """What is kept of one file: `stamp` says of which state of it, `body` is JSON-ready."""

    stamp: str
    body: dict[str, Any]


class Index:
    """Kept bodies by file name (its path within the folder), for one way of reading them (`calibration`).

    A name may be of any encoding.

    A damaged index is made anew; a folder that cannot be written has its index in memory.
    """

    def __init__(self, folder: Path, calibration: str = "") -> None:
        self._calibration = calibration
        path = folder / NAME
        try:
            self._base = self._opened(str(path))
        except sqlite3.DatabaseError:
            with suppress(OSError):
                path.unlink()
            try:
                self._base = self._opened(str(path))
            except sqlite3.DatabaseError:
                self._base = self._opened(":memory:")

    @staticmethod
    def _opened(where: str) -> sqlite3.Connection:
        base = sqlite3.connect(where, timeout=10.0)
        try:
            if base.execute("PRAGMA user_version").fetchone()[0] != _FORMAT:
                base.execute("DROP TABLE IF EXISTS kept")
                base.execute("DROP TABLE IF EXISTS readings")
                base.execute(f"PRAGMA user_version = {_FORMAT}")
            for table in _TABLES:
                base.execute(table)
            base.execute("SELECT count(*) FROM kept").fetchone()
            base.execute("PRAGMA synchronous = OFF")
            base.commit()
        except BaseException:
            base.close()
            raise
        return base

    def all(self) -> dict[str, Kept]:
        """Everything kept."""
        try:
            rows = self._base.execute(
                "SELECT name, stamp, body FROM kept WHERE calibration = ?", (self._calibration,)
            ).fetchall()
            return {os.fsdecode(name): Kept(stamp, json.loads(body)) for name, stamp, body in rows}
        except (sqlite3.DatabaseError, ValueError):
            return {}

    def keep(self, bodies: dict[str, Kept], gone: list[str]) -> None:
        """Keep `bodies` and forget the files `gone`. What cannot be kept is worked out again the next time."""
        with suppress(sqlite3.DatabaseError):
            self._base.executemany(
                "INSERT OR REPLACE INTO kept VALUES (?, ?, ?, ?)",
                [
                    (os.fsencode(name), self._calibration, kept.stamp, json.dumps(kept.body))
                    for name, kept in bodies.items()
                ],
            )
            self._base.executemany("DELETE FROM kept WHERE name = ?", [(os.fsencode(name),) for name in gone])
            if self._calibration and bodies:
                self._base.execute("INSERT OR REPLACE INTO readings (calibration) VALUES (?)", (self._calibration,))
                newest = f"SELECT calibration FROM readings ORDER BY number DESC LIMIT {_READINGS}"
                self._base.execute(f"DELETE FROM readings WHERE calibration NOT IN ({newest})")
                self._base.execute(
                    "DELETE FROM kept WHERE calibration != '' AND calibration NOT IN (SELECT calibration FROM readings)"
                )
            self._base.commit()

    def close(self) -> None:
        """Let go of the file."""
        self._base.close()
