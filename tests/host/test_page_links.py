"""What opens the pages is kept for who started them, and for nobody else."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from host.cli.main import main
from host.page_links import forget_links, keep_links, open_links

LINES = ["Live page: http://127.0.0.1:8050/?key=FXE8YVNSK2M7QRTH5D9CWPA3BU"]


@pytest.fixture(autouse=True)
def settings(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A folder for settings of the test's own."""
    monkeypatch.setenv("SWARDFLOW_SETTINGS", str(tmp_path / "settings.toml"))
    return tmp_path


def test_links_are_there_while_the_pages_answer(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as pages:
        port = pages.getsockname()[1]
        keep_links(port, LINES)
        assert open_links() == {port: LINES[0]}
        assert (settings / f"links-{port}.txt").stat().st_mode & 0o077 == 0, "other users of the computer are out"
        assert main(["link"]) == 0
        assert LINES[0] in capsys.readouterr().out
        forget_links(port)
        assert open_links() == {}


def test_pages_that_ended_without_a_word_leave_no_link(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as pages:
        port = pages.getsockname()[1]
    keep_links(port, LINES)
    (settings / "links-99999999.txt").write_text("no port", encoding="utf-8")
    assert open_links() == {}
    with socket.create_server(("127.0.0.1", 0)) as pages:
        keep_links(pages.getsockname()[1], LINES)
    assert not (settings / f"links-{port}.txt").exists(), "the next pages clear it away"
    assert main(["link"]) == 2
    assert "open them with 'swardflow open'" in capsys.readouterr().err


def test_a_disk_that_takes_nothing_costs_no_pages(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setenv("SWARDFLOW_SETTINGS", str(tmp_path / "file" / "settings.toml"))
    keep_links(8050, LINES)
    forget_links(8050)
    assert open_links() == {}
