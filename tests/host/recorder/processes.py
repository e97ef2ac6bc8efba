"""Recorders as processes of their own, ended whatever becomes of the test."""

from __future__ import annotations

import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

RIG = Path(str(files("host.rig").joinpath("examples", "harrow-lea-walker.toml")))


def swardflow(*arguments: str | Path) -> list[str]:
    return [sys.executable, "-m", "host.cli.main", *map(str, arguments)]


started: list[subprocess.Popen[str]] = []


def start_recorder(port: str, runs: Path, *more: str) -> subprocess.Popen[str]:
    recorder = subprocess.Popen(
        swardflow("record", "--port", port, "--rig", RIG, "--runs", runs, "--note", "area=Lower green", *more),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    started.append(recorder)
    return recorder


def run_path(recorder: subprocess.Popen[str]) -> Path:
    assert recorder.stdout
    line = recorder.stdout.readline()
    if not line.startswith("recording "):
        _, errors = recorder.communicate(timeout=60)
        pytest.fail(f"the recorder did not start: {errors}")
    return Path(line.removeprefix("recording ").rstrip("\n"))
