"""What every test may rely on, and what becomes of tests whose tools are missing."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

import hypothesis
import pytest

CHROMIUM = next((path for name in ("chromium", "chromium-browser") if (path := shutil.which(name))), None)
_TOOLS = {
    "browser": (CHROMIUM, "Chromium is not installed (apt install chromium)"),
    "avr": (
        shutil.which("avr-gcc") and shutil.which("simavr"),
        "the AVR compiler or emulator is not installed (apt install gcc-avr avr-libc simavr libsimavr-dev)",
    ),
}

# A property holds however long a busy machine takes over it.
hypothesis.settings.register_profile("swardflow", deadline=None)
hypothesis.settings.load_profile("swardflow")

# No test goes by the settings of whoever runs it.
os.environ["SWARDFLOW_SETTINGS"] = str(Path(tempfile.gettempdir()) / f"swardflow-no-settings-{os.getpid()}.toml")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        for marker, (tool, reason) in _TOOLS.items():
            if item.get_closest_marker(marker) and not tool:
                item.add_marker(pytest.mark.skip(reason=reason))


def pytest_xdist_auto_num_workers() -> int:
    """One more than there are cores: a third of the time the tests wait for a browser, a port or another process."""
    return (os.cpu_count() or 1) + 1


def pytest_sessionfinish(session: pytest.Session) -> None:
    """In CI everything is installed, so a skipped test is a failure."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("SWARDFLOW_SKIP_NOTHING") and reporter and reporter.stats.get("skipped"):
        reporter.write_line(f"{len(reporter.stats['skipped'])} tests were skipped where none may be", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of Chromium; use together with the marker `browser`."""
    assert CHROMIUM is not None
    return CHROMIUM
