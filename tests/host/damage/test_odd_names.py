"""Names and files that an old card, an archive or a joker leaves in the runs folder: each costs itself one sentence."""

from __future__ import annotations

import errno
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from host.calibrate.cards import load_cards
from host.cli.main import main
from host.errors import DamagedFileError, NotSavedError
from host.library.later_notes import add_note, read_notes
from host.settings import load_settings

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


def test_a_pipe_in_the_place_of_a_file_is_refused_and_never_waited_for(tmp_path: Path) -> None:
    for place in (tmp_path / "a.notes.toml", tmp_path / "settings.toml", tmp_path / "cards" / "boom" / "b.toml"):
        place.parent.mkdir(parents=True, exist_ok=True)
        os.mkfifo(place)
    with pytest.raises(DamagedFileError, match="it is no plain file"):
        read_notes(tmp_path / "a.sward")
    with pytest.raises(DamagedFileError, match="it is no plain file"):
        load_settings(tmp_path / "settings.toml")
    with pytest.raises(DamagedFileError, match="cannot be read"):
        load_cards(tmp_path / "cards", "boom")


def test_a_note_that_a_full_disk_cuts_short_leaves_the_others_readable(small_disk: Path) -> None:
    run = small_disk / "a.sward"
    add_note(run, "weather", "calm", datetime(2026, 5, 14, tzinfo=UTC))
    free = os.statvfs(small_disk)
    (small_disk / "ballast").write_bytes(bytes(free.f_bavail * free.f_bsize))
    with pytest.raises(NotSavedError, match=os.strerror(errno.ENOSPC)):
        add_note(run, "remark", "x" * 60_000, datetime(2026, 5, 15, tzinfo=UTC))
    assert read_notes(run) == {"weather": "calm"}
