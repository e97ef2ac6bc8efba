"""Home's last run, while a newer one has not been read yet."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from dashboards.home.page import last_run
from dashboards.run_cache import Look, RunCache
from host.library import Library
from tests.host.library.made import simulated_run


def test_an_older_run_is_not_called_the_last_one_while_a_newer_one_is_being_read(tmp_path: Path) -> None:
    old = simulated_run(tmp_path / "old.sward", datetime(2026, 5, 14, tzinfo=UTC), {"area": "Rose walk"})
    entries = Library(tmp_path).entries()
    new = tmp_path / "new.sward"
    new.touch()
    os.utime(old, (1_000, 1_000))

    def said(unread: list[Path]) -> str:
        cache: Any = RunCache(tmp_path)
        cache.look = lambda _: Look(entries, unread)
        context: Any = SimpleNamespace(run_cache=cache)
        return str([part.to_plotly_json() for part in last_run(context)])

    assert "Rose walk" in said([])
    assert "being read" in said([new]) and "Rose walk" not in said([new])
    os.utime(new, (500, 500))  # one that is older, such as a copy that was brought here
    assert "Rose walk" in said([new])
