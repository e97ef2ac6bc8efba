"""A line for a recorder of its own process, and nothing left running after a test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.host.link.boards import PtyEnd
from tests.host.recorder.processes import started


@pytest.fixture(autouse=True)
def nothing_left_running() -> Iterator[None]:
    """A recorder that a failed test left behind would open other tests' ports when they come by the same name."""
    yield
    while started:
        recorder = started.pop()
        if recorder.poll() is None:
            recorder.kill()
            recorder.communicate()


@pytest.fixture
def end(tmp_path: Path) -> Iterator[PtyEnd]:
    made = PtyEnd(tmp_path)
    yield made
    made.close()
