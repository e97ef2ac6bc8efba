"""Sound records doubled, moved, exchanged, joined or taken out: each is told, and what can be trusted is still read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from host.journal import read_run, records
from tests.host.journal.samples import report_line, write_run

FRAMES = 2_000  # more than three minutes: three checkpoints
KINDS = (
    "doubled",
    "doubled far away",
    "swapped",
    "moved",
    "replaced",
    "missing",
    "segment doubled",
    "segments swapped",
    "joined",
    "of another run",
)
TRIES = [12, pytest.param(300, marks=[pytest.mark.soak, pytest.mark.timeout(3600)])]


@pytest.fixture(scope="module", params=["1.1", "1.0"])
def lines(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[bytes]:
    path = tmp_path_factory.mktemp("run") / "good.sward"
    write_run(path, FRAMES)
    found = path.read_bytes().splitlines(keepends=True)
    return found if request.param == "1.1" else as_of_old(found)


def as_of_old(lines: list[bytes]) -> list[bytes]:
    """The same run as format 1.0 had it: no checkpoints, a plain trailer."""
    from host.journal.records import HEADER, TRAILER, content, json_record, parse

    out = []
    for line in lines:
        record = parse(line[:-1])
        if record.tag == "K":
            continue
        if record.tag in (HEADER, TRAILER):
            kept = content(record.payload)
            kept = {key: value for key, value in kept.items() if not key.startswith("segment")}
            if record.tag == HEADER:
                kept["schema"] = "1.0"
            else:
                kept["records"].pop("K")
            line = json_record(record.tag, record.host_s, kept)  # noqa: PLW2901
        out.append(line)
    return out


def changed(lines: list[bytes], kind: str, rng: np.random.Generator, other: list[bytes]) -> list[bytes]:
    """The file with one thing done to its records, none of their bytes changed but a line feed; `other` is another."""
    raw = [place for place, line in enumerate(lines) if line[:1] == b"L"]
    a, b = sorted(rng.choice(raw[:-1], 2, replace=False).tolist())
    out = list(lines)
    match kind:
        case "doubled":
            out.insert(a, lines[a])
        case "doubled far away":
            out.insert(b + 1, lines[a])
        case "swapped":
            out[a], out[b] = lines[b], lines[a]
        case "moved":
            out.insert(b, out.pop(a))
        case "replaced":
            out[a] = lines[b]
        case "missing":
            del out[a]
        case "segment doubled":
            out[b:b] = lines[a:b]
        case "segments swapped":
            middle = (a + b) // 2
            out[a:b] = lines[middle:b] + lines[a:middle]
        case "joined":
            out[a] = lines[a][:-1] + (b"" if rng.integers(2) else b" ")
        case "of another run":
            # In the place of as many, which a file of 1.0 cannot tell, or between.
            count = int(rng.integers(1, 50))
            in_place = rng.integers(2) and any(line[:1] == b"K" for line in lines)
            out[a : a + count if in_place else a] = other[a : a + count]
    return out


@pytest.mark.parametrize("tries", TRIES)
@pytest.mark.parametrize("kind", KINDS)
def test_every_change_is_told(kind: str, tries: int, lines: list[bytes], tmp_path: Path) -> None:
    rng = np.random.default_rng(KINDS.index(kind))
    other = another_run(lines)
    whole = read_run_of(lines, tmp_path)
    assert whole.complete and len(whole.frames) == FRAMES
    for _ in range(tries):
        while (now := changed(lines, kind, rng, other)) == lines:  # a piece of one record has no halves to swap
            pass
        run = read_run_of(now, tmp_path)
        assert not run.complete
        assert run.damage or run.lost_records or run.extra_records
        assert np.all(np.diff(run.frames["host_s"]) >= 0)
        if kind == "of another run":  # what fits in time is taken, and its minute told
            continue
        # Nothing counts twice: each report that is read stands once, with the counts it had.
        assert len(np.unique(run.frames["seq"])) == len(run.frames)
        assert np.isin(run.frames, whole.frames).all()
    print(f"{kind}: {tries} tries in a file of format {whole.header['schema']}, all told")


def another_run(lines: list[bytes]) -> list[bytes]:
    """A run with its reports at other moments of the same minutes; each is a sound one, of other counts."""
    found = [records.parse(line[:-1]) for line in lines]
    return [
        records.raw_record(report_line(number + 5_000), one.host_s + 0.031)
        if one.tag == records.RAW
        else records.seal(one.tag, one.host_s + 0.031, one.payload)
        for number, one in enumerate(found)
    ]


def test_a_file_put_behind_itself_is_one_run(lines: list[bytes], tmp_path: Path) -> None:
    run = read_run_of(lines + lines, tmp_path)
    assert len(run.frames) == FRAMES and not run.complete
    assert any("second run" in one.reason or "behind the end" in one.reason for one in run.damage)


@pytest.mark.parametrize("place", [0, 1])
def test_a_header_of_another_run_is_told_and_the_run_is_still_read(
    place: int, lines: list[bytes], tmp_path: Path
) -> None:
    headers = [number for number, line in enumerate(lines) if line[:1] == b"H"]
    mixed = list(lines)
    payload = records.parse(lines[headers[place]][:-1]).payload
    mixed[headers[place]] = records.seal("H", 0.0, payload.replace(b"2026-05-14", b"2026-05-15"))
    run = read_run_of(mixed, tmp_path)
    assert len(run.frames) == FRAMES and not run.complete
    assert any("of another run" in one.reason for one in run.damage)


def test_a_checkpoint_that_counts_what_nobody_can_is_told_in_a_few_words(lines: list[bytes], tmp_path: Path) -> None:
    absurd = {"segment": "9" * 3000, "segment_crc": "0", "segment_records": {"L": 10**400}}
    run = read_run_of([*lines[:-1], records.json_record("Z", 201.0, absurd)], tmp_path)
    assert not run.complete and all(len(one.reason) < 100 for one in run.damage)


def test_a_rest_put_behind_twice_is_read_once(lines: list[bytes], tmp_path: Path) -> None:
    rest = lines[-200:]
    run = read_run_of(lines + rest, tmp_path)
    assert len(run.frames) == FRAMES and not run.complete


def test_doubled_and_missing_refills_are_told(lines: list[bytes], tmp_path: Path) -> None:
    place = next(n for n, line in enumerate(lines) if b'"refill"' in line)
    for at in (place, place + 300, place + 900):
        run = read_run_of([*lines[:at], lines[place], *lines[at:]], tmp_path)
        assert sum(event.kind == "refill" for event in run.events) == 1 and not run.complete
    assert not read_run_of(lines[:place] + lines[place + 1 :], tmp_path).complete


def test_a_refill_gone_and_a_note_doubled_do_not_cancel(lines: list[bytes], tmp_path: Path) -> None:
    refill = next(n for n, line in enumerate(lines) if b'"refill"' in line)
    note = next(n for n, line in enumerate(lines) if line[:1] == b"N")
    run = read_run_of(
        [line for n, line in enumerate(lines) if n != refill for line in [line] * (1 + (n == note))], tmp_path
    )
    assert not run.complete and len(run.notes) == 1


def read_run_of(lines: list[bytes], folder: Path):  # type: ignore[no-untyped-def]
    path = folder / "changed.sward"
    path.write_bytes(b"".join(lines))
    return read_run(path)
