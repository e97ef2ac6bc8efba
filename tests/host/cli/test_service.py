"""The unit and the udev rule, held against systemd's own checkers (Debian package systemd) where they are installed."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from host.cli.main import main
from host.cli.service import UNIT, quoted, unit_text

CHECKER = shutil.which("systemd-analyze")
needs_systemd = pytest.mark.skipif(CHECKER is None, reason="systemd-analyze is not installed (apt install systemd)")


def verify(text: str, folder: Path, *how: str) -> str:
    (folder / UNIT).write_text(text, encoding="utf-8")
    command = [CHECKER or "", "verify", "--man=no", *how, str(folder / UNIT)]
    checked = subprocess.run(
        command,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
        env=os.environ | {"XDG_RUNTIME_DIR": str(folder)},
    )
    assert checked.returncode == 0, checked.stderr
    return "\n".join(line for line in checked.stderr.splitlines() if UNIT in line)


@needs_systemd
@pytest.mark.parametrize("folder", ["runs", 'with "quotes", 100 % and $HOME', "back\\slash"])
def test_systemd_takes_the_units(tmp_path: Path, folder: str) -> None:
    assert verify(unit_text(tmp_path / folder, "root", sys.executable), tmp_path) == ""
    assert verify(unit_text(tmp_path / folder, None, sys.executable), tmp_path, "--user") == ""


@needs_systemd
def test_the_check_can_fail(tmp_path: Path) -> None:
    broken = unit_text(None, "root", "/nowhere/python").replace("Restart=on-failure", "Restart=perhaps")
    (tmp_path / UNIT).write_text(broken, encoding="utf-8")
    command = [CHECKER or "", "verify", "--man=no", str(tmp_path / UNIT)]
    checked = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert checked.returncode != 0 or "perhaps" in checked.stderr


def test_nothing_in_a_word_is_expanded() -> None:
    assert quoted("/home/ann/runs") == "/home/ann/runs"
    assert quoted("50 % of $HOME") == '"50 %% of $$HOME"'


def test_install_writes_the_users_unit_and_says_what_is_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert main(["service", "--runs", str(tmp_path / "runs"), "--install"]) == 0
    written = (tmp_path / "systemd" / "user" / UNIT).read_text(encoding="utf-8")
    assert f"open --runs {tmp_path / 'runs'} --no-browser" in written
    said = capsys.readouterr().out
    assert "systemctl --user enable --now" in said
    assert "own_code=yes" in said  # nobody is at its terminal after the next power-on


def test_the_udev_rule_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["service", "--udev"]) == 0
    rule = capsys.readouterr().out
    assert 'SUBSYSTEM=="tty"' in rule
    assert "uaccess" in rule
