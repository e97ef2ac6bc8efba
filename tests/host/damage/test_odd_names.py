"""Names and files that an old card, an archive or a joker leaves in the runs folder: each costs itself one sentence."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from host.cli.main import main

LONG = "x" * 256


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("runs")
    good = Path("recordings").resolve()
    source = next(good.glob("*.sward")).read_bytes()
    (folder / "a.sward").write_bytes(source)
    Path(os.fsdecode(os.fsencode(folder) + b"/Gr\xfcn.sward")).write_bytes(source)
    os.mkfifo(folder / "2027-fifo.sward")
    (folder / "loop.sward").symlink_to(folder / "loop.sward")
    (folder / "2028-gone.sward").symlink_to("/nowhere")
    return folder


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["runs", "--runs", "RUNS"], 0),
        (["season", "--runs", "RUNS"], 0),
        (["review", "latest", "--runs", "RUNS", "--no-faults"], 1),
        (["review", LONG, "--runs", "RUNS"], 2),
        (["tell", LONG, "status", "--runs", "RUNS"], 2),
        (["replay", LONG], 2),
        (["simulate", LONG], 2),
        (["export", "RUNS/a.sward", "--out", f"RUNS/{LONG}.csv"], 2),
        (["report", "RUNS/a.sward", "--out", f"RUNS/{LONG}"], 2),
        (["review", "RUNS/loop.sward"], 2),
        (["review", "RUNS/2027-fifo.sward"], 2),
        (["compare", LONG, "--runs", "RUNS"], 2),
        (["join", "RUNS/loop.sward", LONG], 2),
    ],
    ids=lambda value: " ".join(value)[:40] if isinstance(value, list) else "",
)
def test_an_answer_or_one_sentence(words: list[str], code: int, runs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([word.replace("RUNS", str(runs)) for word in words]) in ((2,) if code == 2 else (0, 1))
    errors = capsys.readouterr().err
    assert (errors.count("\n") == 1 and errors.startswith("swardflow: ")) == (code == 2)
