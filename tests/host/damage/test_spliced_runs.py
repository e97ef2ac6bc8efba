"""Files put together of two runs, with the clock set back, or full of what no person meant: told, and read on."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from host.cli.main import main
from host.events import EVENT_KEYS, NUMBER
from host.journal import read_run, records
from host.journal.reader import DAMAGE_KEPT, RunReader
from tests.test_samples import SAMPLES

LINES = (SAMPLES / "runs" / "2026-11-format-1.1.sward").read_bytes().splitlines(keepends=True)
OTHER = (SAMPLES / "runs" / "2026-11-wire-1.1.sward").read_bytes().splitlines(keepends=True)
HALF = len(LINES) // 2
HALF_S = records.parse(LINES[HALF][:-1]).host_s


def later(lines: list[bytes], by_s: float) -> list[bytes]:
    """The same records, sound, at other times."""
    found = [records.parse(line[:-1]) for line in lines]
    return [records.seal(one.tag, one.host_s + by_s, one.payload) for one in found]


def checkpoint() -> tuple[int, bytes]:
    """Where one stands, and one of another run for its place."""
    place = next(number for number, line in enumerate(LINES) if line[:1] == b"K")
    told = {"segment": 0, "segment_crc": "DEADBEEF", "segment_records": {"L": 598}}
    return place, records.json_record("K", records.parse(LINES[place][:-1]).host_s, told)


PLACE, FOREIGN = checkpoint()
HEADER = LINES[0]


@pytest.mark.parametrize(
    ("lines", "least", "most"),
    [
        pytest.param([*LINES[:HALF], *OTHER], 440, 460, id="the second run whole behind half of the first"),
        pytest.param([*LINES[:HALF], *OTHER[len(OTHER) // 2 :]], 440, 460, id="halves of two runs"),
        pytest.param([one for pair in zip(LINES, OTHER, strict=False) for one in pair], 0, 898, id="shuffled together"),
        pytest.param([*LINES[:300], *[HEADER] * 3, *LINES[300:]], 280, 300, id="its own header thrice in the middle"),
        pytest.param([*LINES[:PLACE], FOREIGN, *LINES[PLACE + 1 :]], 898, 898, id="a checkpoint of another run"),
        pytest.param([*LINES[:HALF], *later(LINES[HALF:], 3600)], 440, 898, id="an hour forward in the run"),
        pytest.param([*LINES[:HALF], *later(LINES[HALF:], -HALF_S / 2)], 440, 898, id="the clock back in the run"),
        pytest.param([*LINES[:HALF], b"L" * 3_000_000 + b"\n", *LINES[HALF:]], 898, 898, id="a line of 3 MB"),
        pytest.param([*LINES[:HALF], b"\0" * 3_000_000, *LINES[HALF:]], 897, 898, id="a hole in the file"),
        pytest.param([*LINES, *OTHER[1:]], 898, 898, id="records of another run behind the trailer"),
        pytest.param([LINES[-1], *LINES], 0, 898, id="the trailer first"),
    ],
)
def test_what_was_put_together_is_told(lines: list[bytes], least: int, most: int, tmp_path: Path) -> None:
    path = tmp_path / "x.sward"
    path.write_bytes(b"".join(lines))
    run = read_run(path)
    assert not run.complete and (run.damaged or run.lost_records or run.extra_records)
    assert least <= len(run.frames) <= most
    assert np.all(np.diff(run.frames["host_s"]) >= 0)


def test_a_piece_that_is_damaged_everywhere_does_not_fill_the_memory() -> None:
    """A file of line feeds took 25 µs and 200 bytes for each."""
    reader = RunReader()
    batch = reader.push(b"".join(LINES[:9]) + b"\n" * 50_000 + LINES[9] + LINES[9] + LINES[10])
    assert batch.damaged == 50_001
    assert len(batch.damage) == DAMAGE_KEPT + 1, "the first ones, and the one of another kind"
    assert batch.damage[-1].line_number == 50_011


ABSURD = ("1e308", "1" + "0" * 400, "-1", "-1e308", "NaN", "Infinity", "true", '"5"', "[5]", "{}", "null", "1e-320")


@pytest.mark.parametrize("number", ABSURD)
def test_numbers_that_nobody_meant(number: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "x.sward"
    keys = [(kind, key) for kind, known in EVENT_KEYS.items() for key, what in known.items() if what == NUMBER]
    events = [records.seal("E", HALF_S, f'{{"kind":"{kind}","{key}":{number}}}'.encode()) for kind, key in keys]
    trailer = records.content(records.parse(LINES[-1][:-1]).payload)
    text = json.dumps(trailer | {"wire_damage": "#", "records": {"L": "#"}}).replace('"#"', number)
    path.write_bytes(b"".join([*LINES[:HALF], *events, *LINES[HALF:-1], records.seal("Z", 999.0, text.encode())]))
    for words in (["review", str(path)], ["review", str(path), "--json"]):
        assert main(words) == 1, "not complete"
        out, err = capsys.readouterr()
        assert out and not err and "inf" not in out.split() and "Infinity" not in out
    assert main(["export", str(path), "--out", str(tmp_path / "x.csv")]) in (0, 1)
