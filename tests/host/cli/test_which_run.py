"""Which run is meant: by path, by name, by a bare name from a folder of the runs folder."""

from pathlib import Path

import pytest

from host.cli.which_run import run_named
from host.errors import UserError


def test_a_bare_name_from_a_folder_of_the_runs_folder(tmp_path: Path) -> None:
    (tmp_path / "near.sward").touch()
    for year in ("2025", "2026"):
        (tmp_path / year).mkdir()
        (tmp_path / year / "deep.sward").touch()
        (tmp_path / year / f"of-{year}.sward").touch()
    assert run_named("near", tmp_path) == tmp_path / "near.sward"
    assert run_named("of-2025", tmp_path) == run_named("of-2025.sward", tmp_path) == tmp_path / "2025/of-2025.sward"
    assert run_named("2026/deep", tmp_path) == tmp_path / "2026/deep.sward"
    with pytest.raises(UserError, match=r"deep is the name of 2 runs in .*2025/deep.sward and 2026/deep.sward"):
        run_named("deep", tmp_path)


def test_none_is_the_folders_own_sentence(tmp_path: Path) -> None:
    for folder in (tmp_path, tmp_path / "gone"):
        with pytest.raises(UserError, match="there is no run other"):
            run_named("other", folder)
    with pytest.raises(UserError, match="there is no run in"):
        run_named("latest", tmp_path)
