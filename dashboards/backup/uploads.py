"""Backups that browsers have sent and that wait for their second tap, one for each browser."""

from __future__ import annotations

import secrets
import shutil
import tempfile
import threading
from collections import OrderedDict
from pathlib import Path

from host.backup import Places, Restore, open_backup, plan_restore
from host.errors import NotNowError, NotSavedError, reason_of

MOST_WAITING = 2
MOST_UNPACKED = 20 << 30
_PREFIX = ".sent-backup-"
_NAME = "this file"  # as it is called in messages
_AGAIN = "choose the backup once more"


class Uploads:
    """Waiting backups, in hidden folders beside the runs: there is room for what is to be put there."""

    def __init__(self, places: Places) -> None:
        self._places = places
        self._waiting: OrderedDict[str, tuple[Path, Restore]] = OrderedDict()
        self._lock = threading.Lock()

    def new_file(self) -> Path:
        """Where the next one may be written; to be given to `look` or `drop`. Raises NotSavedError."""
        try:
            self._places.runs.mkdir(parents=True, exist_ok=True)
            return Path(tempfile.mkdtemp(prefix=_PREFIX, dir=self._places.runs)) / _NAME
        except OSError as error:
            reason = reason_of(error)
            raise NotSavedError(f"the runs folder takes no file ({reason}): make room there") from None

    def look(self, file: Path) -> tuple[str, Restore]:
        """Check a file; a key for `restore`, and what that would change. Raises UserError; then the file is gone."""
        try:
            plan = plan_restore(open_backup(file, MOST_UNPACKED), self._places)
        except BaseException:
            self.drop(file)
            raise
        key = secrets.token_urlsafe()
        with self._lock:
            self._waiting[key] = (file, plan)
            old = [self._waiting.popitem(last=False)[1][0] for _ in range(len(self._waiting) - MOST_WAITING)]
        for each in old:
            self.drop(each)
        return key, plan

    def restore(self, key: str) -> Restore:
        """Put back what was looked at, once; what was done. Raises UserError."""
        with self._lock:
            file, plan = self._waiting.pop(key, (None, None))
        if file is None or plan is None:
            raise NotNowError(f"this backup does not wait here any more: {_AGAIN}")
        try:
            # Looked at anew: much may have come since.
            plan = plan_restore(plan.backup, self._places)
            plan.carry_out()
        finally:
            self.drop(file)
        return plan

    def drop(self, file: Path) -> None:
        """Delete one."""
        shutil.rmtree(file.parent, ignore_errors=True)

    def drop_all(self) -> None:
        """Delete those that an earlier server left."""
        for folder in self._places.runs.glob(f"{_PREFIX}*"):
            shutil.rmtree(folder, ignore_errors=True)
