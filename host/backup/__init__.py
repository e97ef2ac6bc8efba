"""Runs, cards, rigs and settings as one file, and back (BACKUP_FILE.md)."""

from host.backup.contents import Places
from host.backup.reading import open_backup
from host.backup.restoring import Restore, plan_restore
from host.backup.writing import backup_name, write_backup

__all__ = ["Places", "Restore", "backup_name", "open_backup", "plan_restore", "write_backup"]
