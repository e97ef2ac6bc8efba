"""A rest that a full disk did not take is put behind its run: once, twice, after a broken join; never to another."""

from __future__ import annotations

from pathlib import Path

import pytest

from host.cli.main import main
from host.errors import BadInputError
from host.journal import read_run
from host.journal.joining import Joined, join_rest
from tests.host.journal.samples import write_run


@pytest.fixture(params=[0.5, 0.5001, 0.9])
def halves(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path, Path, bytes]:
    write_run(tmp_path / "whole.sward", 300)
    whole = (tmp_path / "whole.sward").read_bytes()
    cut = int(len(whole) * request.param)
    run, rest = tmp_path / "a.sward", tmp_path / "a.sward.rest"
    run.write_bytes(whole[:cut])
    rest.write_bytes(whole[cut:])
    return run, rest, whole


def test_joined_once_and_again(halves: tuple[Path, Path, bytes]) -> None:
    run, rest, whole = halves
    assert join_rest(run, rest) is Joined.NOW
    assert run.read_bytes() == whole and read_run(run).complete
    assert join_rest(run, rest) is Joined.BEFORE
    assert run.read_bytes() == whole and rest.exists()


def test_a_broken_join_is_finished(halves: tuple[Path, Path, bytes]) -> None:
    run, rest, whole = halves
    with run.open("ab") as file:
        file.write(rest.read_bytes()[:200])
    assert join_rest(run, rest) is Joined.NOW
    assert run.read_bytes() == whole


def test_what_does_not_belong_together_is_left_alone(halves: tuple[Path, Path, bytes], tmp_path: Path) -> None:
    run, rest, _ = halves
    write_run(tmp_path / "other.sward", 40)
    before = run.read_bytes()
    for other in ((tmp_path / "other.sward").read_bytes()[-900:], rest.read_bytes()[105:], b"x"):
        rest.write_bytes(other)
        with pytest.raises(BadInputError, match="does not continue"):
            join_rest(run, rest)
    rest.write_bytes(b"")
    with pytest.raises(BadInputError, match="is empty"):
        join_rest(run, rest)
    assert run.read_bytes() == before


def test_the_command(halves: tuple[Path, Path, bytes], capsys: pytest.CaptureFixture[str]) -> None:
    run, rest, _ = halves
    assert main(["join", str(run), str(rest)]) == 0
    assert "joined" in capsys.readouterr().out
    assert main(["join", str(run), str(rest)]) == 0
    assert "already" in capsys.readouterr().out
    assert main(["join", str(run), "nowhere.rest"]) == 2
