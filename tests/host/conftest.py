"""Real file systems that are small or cannot be written to."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system of 64 KiB."""
    yield from mounted(tmp_path / "disk", "size=64k")


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system of 4 MiB: room for an hour at ten lines a second."""
    yield from mounted(tmp_path / "disk", "size=4m")


@pytest.fixture
def read_only_disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system that takes nothing."""
    yield from mounted(tmp_path / "locked", "size=64k,ro")


def mounted(folder: Path, options: str) -> Iterator[Path]:
    folder.mkdir()
    mount = shutil.which("mount")
    if mount is None or os.geteuid() != 0:
        pytest.skip("a small tmpfs can only be mounted by root")
    done = subprocess.run([mount, "-t", "tmpfs", "-o", options, "tmpfs", folder], capture_output=True, check=False)
    if done.returncode:
        pytest.skip(f"a small tmpfs cannot be mounted here: {done.stderr.decode().strip()}")
    yield folder
    subprocess.run(["umount", "--lazy", folder], check=True)
