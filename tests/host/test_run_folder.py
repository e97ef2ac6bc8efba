"""The folder of runs: names, the newest, and that everything finds the same files."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path

import pytest

from dashboards.calibrate import page as calibrate_page
from dashboards.context import PageContext
from host.cli.main import main
from host.errors import UserError
from host.library import Library
from host.run_folder import cards_folder, file_names, find_run, list_runs, newest_run, run_name
from tests.host.library.made import simulated_run


def touch(path: Path, written: float = 1000.0) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch()
    os.utime(path, (written, written))
    return path


def test_names_say_when_and_where() -> None:
    started = datetime(2026, 5, 14, 9, 15, 59)
    assert file_names(started, "Harrow Lea")[:2] == [
        "2026-05-14T0915-harrow-lea.sward",
        "2026-05-14T0915-harrow-lea-2.sward",
    ]
    assert file_names(started, "Grüner Platz / No. 3\n")[0] == "2026-05-14T0915-gruner-platz-no-3.sward"
    assert file_names(started, "../../etc")[0] == "2026-05-14T0915-etc.sward"
    assert file_names(started, "芝")[0] == "2026-05-14T0915-run.sward"
    assert len(file_names(started, "x" * 400)[0]) < 80


def test_the_run_that_comes_along_is_found_by_its_name_unless_there_is_one_so_called(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    found = find_run("example", tmp_path)
    assert found.parent.name == "recordings" and found.is_file()
    assert main(["report", "example", "--runs", str(tmp_path)]) == 0
    assert [path.suffix for path in tmp_path.iterdir()] == [".html"]
    assert find_run("example", tmp_path) == found
    touch(tmp_path / "example.sward")
    assert find_run("example", tmp_path) == tmp_path / "example.sward"


def test_finding_a_run(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="there is no run in"):
        find_run("latest", tmp_path)
    for age, name in enumerate(("new.sward", "old.sward", "mid.sward")):
        touch(tmp_path / name, 1_000 - age)
    assert find_run("latest", tmp_path).name == "new.sward"
    assert find_run("old", tmp_path) == find_run("old.sward", tmp_path) == tmp_path / "old.sward"
    assert find_run(str(tmp_path / "mid.sward")) == tmp_path / "mid.sward"


def test_a_bare_name_from_a_folder_of_the_runs_folder(tmp_path: Path) -> None:
    touch(tmp_path / "near.sward")
    for year in ("2025", "2026"):
        touch(tmp_path / year / "deep.sward")
        touch(tmp_path / year / f"of-{year}.sward")
    assert find_run("near", tmp_path) == tmp_path / "near.sward"
    assert find_run("of-2025", tmp_path) == find_run("of-2025.sward", tmp_path) == tmp_path / "2025/of-2025.sward"
    assert find_run("2026/deep", tmp_path) == tmp_path / "2026/deep.sward"
    with pytest.raises(UserError, match=r"deep is the name of 2 runs in .*2025/deep.sward and 2026/deep.sward"):
        find_run("deep", tmp_path)


@pytest.mark.parametrize("text", ["other", "x" * 5000, "a\0b", "~nobody-of-that-name/run"])
def test_a_run_that_is_not_there_is_said_so(tmp_path: Path, text: str) -> None:
    for folder in (tmp_path, tmp_path / "gone"):
        with pytest.raises(UserError, match="there is no run"):
            find_run(text, folder)


def test_newest_run_is_the_one_written_to_last_wherever_it_is(tmp_path: Path) -> None:
    assert newest_run(tmp_path) is newest_run(tmp_path / "gone") is None
    for name, age in (("b", 10), ("c", 30), ("a", 20)):
        touch(tmp_path / f"{name}.sward", 5000 - age)
    assert newest_run(tmp_path, lambda: 5000.0) == tmp_path / "b.sward"
    deep = touch(tmp_path / "2026" / "green" / "d.sward", 4995)
    touch(tmp_path / "demo" / "never.sward", 4999)
    touch(tmp_path / ".hidden" / "never.sward", 4999)
    touch(tmp_path / "1" / "2" / "3" / "4" / "5" / "never.sward", 4999)
    assert newest_run(tmp_path, lambda: 5000.0) == deep


def test_a_clock_set_back_does_not_hide_the_run_of_now(tmp_path: Path) -> None:
    """The morning's run was written until ten; then the clock went back to nine, and another run began."""
    for name, written in (("morning", 36_000), ("earlier", 30_000), ("now", 32_400)):
        touch(tmp_path / f"{name}.sward", written)
    assert newest_run(tmp_path, lambda: 32_400.1) == tmp_path / "now.sward"
    (tmp_path / "now.sward").unlink()
    (tmp_path / "earlier.sward").unlink()
    assert newest_run(tmp_path, lambda: 32_400.1) == tmp_path / "morning.sward", "better than none"


def test_commands_and_pages_find_a_run_kept_in_a_folder_by_year(tmp_path: Path, capsys) -> None:
    run = tmp_path / "2026" / "green.sward"
    run.parent.mkdir()
    simulated_run(run, datetime(2026, 5, 14, 9, 15))
    assert (
        [entry.path for entry in Library(tmp_path).entries()]
        == [run]
        == [found.path for found in list_runs(tmp_path)[0]]
    )
    assert main(["review", "latest", "--runs", str(tmp_path)]) == 0
    assert "green" in capsys.readouterr().out
    context = PageContext(tmp_path, cards_folder(tmp_path))
    assert context.rig().own, "the pages know the sprayer of that run"
    assert context.run_cache.path_of(run_name(run, tmp_path)) == run
    assert "2026/green" in str(calibrate_page.layout(context)), "the list of runs to calibrate from"
