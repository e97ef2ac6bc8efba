"""The commands `simulate` and `replay`."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path

import pytest
import serial

from host.cli.main import main
from host.cli.simulate import parse_speed
from host.errors import UserError
from host.journal import read_run

SHORT = 'title = "short"\nseed = 3\nrig = "harrow-lea-pull-behind"\nduration = "20 s"\n'


@pytest.fixture
def scenario(tmp_path: Path) -> Path:
    path = tmp_path / "short.toml"
    path.write_text(SHORT, encoding="utf-8")
    return path


def test_list_names_every_scenario(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["simulate", "--list"]) == 0
    listed = capsys.readouterr().out
    for name in ("demo", "twenty-minutes", "wrap-and-reset", "ten-hours"):
        assert name in listed


def test_write_gives_a_run_file_and_its_truth(scenario: Path, tmp_path: Path) -> None:
    assert main(["simulate", str(scenario), "--out", str(tmp_path / "a.sward")]) == 0
    run = read_run(tmp_path / "a.sward")
    told = json.loads((tmp_path / "a.truth.json").read_text(encoding="utf-8"))
    assert run.complete
    assert len(run.frames) == 200
    assert told["volume_m3"] > 0
    assert told["passes"][0]["end_s"] == pytest.approx(20.0)


def test_the_same_scenario_gives_the_same_file(scenario: Path, tmp_path: Path) -> None:
    for name in ("a", "b"):
        assert main(["simulate", str(scenario), "--out", str(tmp_path / f"{name}.sward")]) == 0
    assert (tmp_path / "a.sward").read_bytes() == (tmp_path / "b.sward").read_bytes()
    assert (tmp_path / "a.truth.json").read_bytes() == (tmp_path / "b.truth.json").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["simulate"], "--list"),
        (["simulate", "no-such"], "no-such"),
        (["simulate", "demo", "--speed", "fast"], "--speed"),
        (["simulate", "demo", "--speed", "-1"], "--speed"),
        (["replay", "absent.sward"], "absent.sward"),
        (["replay", "absent.sward", "--speed", "nan"], "--speed"),
    ],
)
def test_mistakes_get_one_sentence_and_exit_code_2(
    arguments: list[str], word: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 2
    told = capsys.readouterr().err
    assert word in told
    assert told.count("\n") == 1


def test_nothing_is_written_over(scenario: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("a.sward", "b.truth.json"):
        (tmp_path / name).write_text("mine", encoding="utf-8")
    for write in ("a.sward", "b.sward"):
        assert main(["simulate", str(scenario), "--out", str(tmp_path / write)]) == 2
        assert "exists" in capsys.readouterr().err
    assert (tmp_path / "a.sward").read_text(encoding="utf-8") == "mine"
    assert (tmp_path / "b.truth.json").read_text(encoding="utf-8") == "mine"
    assert not (tmp_path / "a.truth.json").exists()
    assert not (tmp_path / "b.sward").exists()


def test_speed() -> None:
    assert parse_speed("max") == math.inf
    assert parse_speed("2.5") == 2.5
    with pytest.raises(UserError):
        parse_speed("0")


@pytest.mark.parametrize("command", ["simulate", "replay"])
def test_a_port_is_served_that_pyserial_reads(command: str, scenario: Path, tmp_path: Path) -> None:
    """The real command in a process of its own, read to its end at full speed."""
    what = scenario
    if command == "replay":
        what = tmp_path / "a.sward"
        main(["simulate", str(scenario), "--out", str(what)])
    link = tmp_path / "port"
    arguments = [command, str(what), "--speed", "max", "--link", str(link)]
    arguments += ["--truth", str(tmp_path / "truth.json")] if command == "simulate" else []
    process = subprocess.Popen(
        [sys.executable, "-m", "host.cli.main", *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        assert str(link) in process.stdout.readline()
        data = b""
        with serial.Serial(str(link), 115200, timeout=60) as port:
            while True:
                try:
                    piece = port.read(port.in_waiting or 1)
                except (serial.SerialException, OSError):
                    break
                assert piece
                data += piece
        assert process.wait(60) == 0
        assert data.count(b"\nR01") == 200
        assert not link.is_symlink()
        assert process.stderr is not None
        assert process.stderr.read() == ""
    finally:
        process.kill()
        process.communicate()
    if command == "simulate":
        assert json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))["simulated_s"] == pytest.approx(20.0)


def test_ending_it_removes_the_link_and_tells_the_truth_so_far(scenario: Path, tmp_path: Path) -> None:
    link, truth = tmp_path / "port", tmp_path / "truth.json"
    arguments = ["simulate", str(scenario), "--link", str(link), "--truth", str(truth)]
    process = subprocess.Popen(
        [sys.executable, "-m", "host.cli.main", *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        process.stdout.readline()
        process.stdout.readline()
        with serial.Serial(str(link), 115200, timeout=60) as port:
            assert port.readline().startswith(b"I01")
            process.terminate()
            assert process.wait(60) == 130
        assert not link.is_symlink()
        assert json.loads(truth.read_text(encoding="utf-8"))["duration_s"] == pytest.approx(20.0)
    finally:
        process.kill()
        process.communicate()
