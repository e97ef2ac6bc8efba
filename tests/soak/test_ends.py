"""However a `demo` ends, nothing of it is left running its run file has its trailer, and no link to its pages stays."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

from host.journal import read_run

pytestmark = [pytest.mark.soak, pytest.mark.timeout(3600)]
TIMES = int(os.environ.get("SWARDFLOW_TIMES", "50"))
PATIENCE_S = 30.0


@pytest.mark.parametrize("how", ["SIGHUP", "SIGKILL"])
def test_nothing_is_left_running(how: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SWARDFLOW_SETTINGS", str(tmp_path / "settings.toml"))
    orphans = without_trailer = 0
    for number in range(TIMES):
        runs = tmp_path / str(number)
        demo = start_demo(runs)
        try:
            run = recording(runs)
            children = psutil.Process(demo.pid).children(recursive=True)
            assert len(children) >= 3
            os.kill(demo.pid, getattr(signal, how))
        except BaseException:
            demo.terminate()
            raise
        finally:
            demo.wait(PATIENCE_S)
        _, alive = psutil.wait_procs(children, timeout=PATIENCE_S)
        orphans += len(alive)
        for child in alive:
            child.kill()
        without_trailer += read_run(run).trailer is None
        assert not list(tmp_path.glob("links-*.txt")), "what opens the pages goes with them"
    print(f"{how}: {orphans} orphans, {without_trailer} without a trailer, of {TIMES}")
    assert not orphans and not without_trailer


def start_demo(runs: Path) -> subprocess.Popen[bytes]:
    """As a person starts it, on any free port: others on this computer may use the usual one."""
    command = [sys.executable, "-P", "-m", "host.cli.main", "demo", "--runs", str(runs), "--no-browser"]
    command += ["--http-port", "0"]
    return subprocess.Popen(command, start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def recording(runs: Path) -> Path:
    """The run file, once it has reports in it."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        for path in runs.glob("*.sward"):
            if path.stat().st_size > 6_000:
                return path
        time.sleep(0.1)
    raise AssertionError("nothing was recorded")
