"""The reader: any cutting gives the same, damage is noticed and costs no more than it must."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from firmware_protocol.messages import decode
from host.errors import UserError
from host.frames import FRAME_DTYPE
from host.journal import RunReader, iter_batches, read_run
from host.journal.records import MAX_RECORD, json_record, raw_record, salvage, seal
from tests.host.journal.samples import RIG, identity_line, joined, read_in_pieces, report_line, write_run

FRAMES = 8


@pytest.fixture(scope="module")
def short_run(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("run") / "short.sward"
    write_run(path, FRAMES)
    return path.read_bytes()


@pytest.fixture(scope="module")
def long_run(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("run") / "long.sward"
    write_run(path, 400)
    return path.read_bytes()


def test_what_was_written_is_read(tmp_path: Path) -> None:
    write_run(tmp_path / "a.sward", 400)
    run = read_run(tmp_path / "a.sward")
    assert run.complete and run.damage == [] and run.wire_damage == 1
    assert run.rig_toml == RIG and run.calibrations == [{"meter": "450 /L"}]
    assert run.header["started"] == "2026-05-14T09:15:00+01:00" and run.header["schema"] == "1.1"
    assert run.frames.dtype == FRAME_DTYPE
    assert run.frames["seq"].tolist() == list(range(400))
    assert run.frames["flow_count"].tolist() == [3 * number for number in range(400)]
    assert run.frames["host_s"].tolist() == [float(f"{0.1 * (number + 1):.6f}") for number in range(400)]
    kinds = [(one.kind, one.before_frame) for one in run.events]
    assert kinds == [
        *[(kind, 0) for kind in ("header", "rig", "calibration", "note", "run_start", "identity")],
        ("refill", 200),
        ("trailer", 400),
    ]
    assert run.events[5].detail["adc_full_scale"] == 1023
    assert run.events[6].detail == {"text": "tank full \u00e9"}
    assert run.notes[0].detail == {"key": "area", "value": "Lower green"}


def test_a_run_still_being_written_reads_as_far_as_it_goes(tmp_path: Path) -> None:
    write_run(tmp_path / "a.sward", 20, close=False)
    run = read_run(tmp_path / "a.sward")
    assert len(run.frames) == 20 and run.trailer is None and not run.complete and run.damaged == 0


@settings(max_examples=60, deadline=None)
@given(cuts=st.lists(st.integers(0, 46_000), max_size=30), flips=st.lists(st.integers(0, 44_000), max_size=4))
@example(cuts=[], flips=[])
def test_any_cutting_gives_the_same(long_run: bytes, cuts: list[int], flips: list[int]) -> None:
    data = bytearray(long_run)
    for place in flips:
        data[place % len(data)] ^= 0x10
    assert joined(read_in_pieces(bytes(data), cuts)) == joined(read_in_pieces(bytes(data), []))


def test_byte_by_byte_gives_the_same(short_run: bytes) -> None:
    assert joined(read_in_pieces(short_run, list(range(len(short_run))))) == joined(read_in_pieces(short_run, []))


def test_any_block_size_gives_the_same(tmp_path: Path) -> None:
    write_run(tmp_path / "a.sward", 300)
    whole = joined(list(iter_batches(tmp_path / "a.sward")))
    for block in (1, 64, 104, 105, 106, 8_192):
        assert joined(list(iter_batches(tmp_path / "a.sward", block))) == whole


def test_in_bulk_as_one_at_a_time(long_run: bytes) -> None:
    """The frames of the bulk path are those of the wire's line decoder, line by line."""
    lines = [line for line in long_run.split(b"\n") if line.startswith(b"L ") and len(line) == 104]
    expected = []
    for line in lines:
        message = decode(line[16:95])
        expected.append((float(line[2:15]), *(getattr(message, name) for name in FRAME_DTYPE.names[1:])))
    frames = RunReader().push(long_run).frames
    assert frames.tolist() == expected


ALWAYS, IN_SOAK = (0x01, 0x20, 0xFF), (0x02, 0x04, 0x08, 0x10, 0x40, 0x80)


@pytest.mark.parametrize("mask", [*ALWAYS, *(pytest.param(mask, marks=pytest.mark.soak) for mask in IN_SOAK)])
def test_one_flipped_byte_at_every_place_is_noticed_and_costs_one_record(short_run: bytes, mask: int) -> None:
    whole = joined(read_in_pieces(short_run, []))
    events, frames = whole[1], whole[0]
    assert isinstance(events, list) and isinstance(frames, bytes)
    size = FRAME_DTYPE.itemsize
    sound_frames = [frames[start : start + size] for start in range(0, len(frames), size)]
    sound_tellings = [(host_s, kind, detail) for host_s, _, kind, detail in events]
    line_number, offset = 1, 0
    for place, byte in enumerate(short_run):
        data = bytearray(short_run)
        data[place] ^= mask
        batches = read_in_pieces(bytes(data), [])
        damage = [one for batch in batches for one in batch.damage]
        assert damage, f"byte {place} changed without notice"
        assert (damage[0].line_number, damage[0].byte_offset) == (line_number, offset)
        counted = sum(sum(batch.records.values()) for batch in batches)
        lost = short_run.count(b"\n") - counted
        assert lost == (0 if byte == ord("\n") else 1), f"byte {place} cost {lost} records"
        taken = np.concatenate([batch.frames for batch in batches]).tobytes()
        for start in range(0, len(taken), size):
            assert taken[start : start + size] in sound_frames
        for batch in batches:
            for one in batch.events:
                assert (one.host_s, one.kind, one.detail) in sound_tellings
        if byte == ord("\n"):
            line_number, offset = line_number + 1, place + 1


def test_one_flipped_byte_never_loses_header_rig_or_calibration(short_run: bytes) -> None:
    for place in range(len(short_run)):
        data = bytearray(short_run)
        data[place] ^= 0x04
        kinds = [one.kind for batch in read_in_pieces(bytes(data), []) for one in batch.events]
        assert {"header", "rig", "calibration"} <= set(kinds)


def test_a_cut_at_every_place_reads_up_to_there(short_run: bytes) -> None:
    for place in range(len(short_run)):
        batches = read_in_pieces(short_run[:place], [])
        counted = sum(sum(batch.records.values()) for batch in batches)
        damage = [one for batch in batches for one in batch.damage]
        whole_lines = short_run[:place].count(b"\n")
        at_line_feed = short_run[place : place + 1] == b"\n"
        torn = place > 0 and short_run[place - 1 : place] != b"\n" and not at_line_feed
        assert counted == whole_lines + at_line_feed
        assert len(damage) == torn
        if torn:
            assert damage[0].line_number == whole_lines + 1 and "ends here" in damage[0].reason
        assert (
            not any(one.kind == "trailer" for batch in batches for one in batch.events) or place >= len(short_run) - 1
        )


def test_a_record_that_is_missing_altogether_is_counted(tmp_path: Path) -> None:
    write_run(tmp_path / "a.sward", 20)
    lines = (tmp_path / "a.sward").read_bytes().splitlines(keepends=True)
    (tmp_path / "b.sward").write_bytes(b"".join(lines[:15] + lines[17:]))
    run = read_run(tmp_path / "b.sward")
    assert run.lost_records == 2 and not run.complete
    assert [one.reason for one in run.damage] == ["2 records missing since the checkpoint before"]


def test_blocks_lost_in_a_power_cut_leave_the_rest_readable(long_run: bytes) -> None:
    """Zeroed blocks, as a file system may leave behind: everything outside them is read."""
    data = bytearray(long_run)
    data[8_192:12_288] = bytes(4_096)
    batches = read_in_pieces(bytes(data), [])
    frames = np.concatenate([batch.frames for batch in batches])
    damage = [one for batch in batches for one in batch.damage]
    assert len(damage) == 1
    assert 400 - 4_096 // 105 - 2 <= len(frames) <= 400 - 4_096 // 105
    assert set(frames["seq"].tolist()) < set(range(400))


def test_what_a_board_sends_cannot_pass_as_a_record() -> None:
    """A run file sent down the wire and then damaged: the records inside the payload stay text."""
    inner = json_record("E", 5.0, {"kind": "refill", "text": ""}).rstrip()
    outer = bytearray(raw_record(b"x 0123ABCD " + inner, 7.0))
    outer[20] ^= 1
    batch = RunReader().push(bytes(outer))
    assert batch.events == [] and batch.records == {} and len(batch.damage) == 1


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"{]", "payload is not JSON"),
        (b"[" * 100_000, "payload is not JSON"),
        (b"[1]", "payload is not a JSON object"),
        (b'{"kind":7}', "event without a kind"),
        (b'{"text":""}', "event without a kind"),
    ],
)
def test_a_sound_record_with_a_senseless_payload_is_damage(payload: bytes, reason: str) -> None:
    batch = RunReader().push(seal("E", 1.0, payload) + raw_record(report_line(1), 2.0))
    assert [one.reason for one in batch.damage] == [reason]
    assert batch.events == [] and len(batch.frames) == 1


def test_a_raw_record_with_a_bad_escape_is_damage() -> None:
    batch = RunReader().push(seal("L", 1.0, b"half \\x1 escape"))
    assert [one.reason for one in batch.damage] == ["backslash without x and two digits"]


def test_two_records_whose_line_feed_was_damaged_are_both_found() -> None:
    first, second = raw_record(b"one", 1.0), raw_record(b"two", 2.0)
    joined = first[:-1] + b"J" + second[:-1]
    assert [record.payload for record in salvage(joined)] == [b"one", b"two"]
    assert [record.payload for record in salvage(b"x" + joined)] == [b"two"], "what comes first is no record"


def test_a_number_that_json_does_not_have_is_not_written() -> None:
    """RFC 8259, section 6: "Infinity and NaN are not permitted"."""
    for number in (math.nan, math.inf):
        with pytest.raises(ValueError):
            json_record("E", 0.0, {"kind": "mark", "at": number})


def test_unknown_tags_and_kinds_are_passed_over() -> None:
    batch = RunReader().push(seal("Q", 1.0, b"later") + json_record("E", 2.0, {"kind": "rain"}))
    assert batch.damage == [] and batch.records == {"Q": 1, "E": 1}
    assert [one.kind for one in batch.events] == ["rain"]


@pytest.mark.parametrize("pieces", [1, 1_000])
def test_a_line_without_end_is_let_go(pieces: int) -> None:
    data = b"x" * (2 * MAX_RECORD) + b"\n" + raw_record(report_line(1), 2.0)
    step = len(data) // pieces
    batches = read_in_pieces(data, list(range(step, len(data), step)))
    assert [(one.line_number, one.byte_offset) for batch in batches for one in batch.damage] == [(1, 0)]
    assert sum(len(batch.frames) for batch in batches) == 1


@settings(max_examples=200, deadline=None)
@given(data=st.binary(max_size=2_000), cuts=st.lists(st.integers(0, 2_000), max_size=5))
def test_no_bytes_make_the_reader_raise(data: bytes, cuts: list[int]) -> None:
    batches = read_in_pieces(data, cuts)
    assert joined(batches) == joined(read_in_pieces(data, []))


@settings(max_examples=200, deadline=None)
@given(line=st.binary(max_size=256), host_s=st.floats(0, 1e7))
def test_any_line_comes_back_as_it_was(line: bytes, host_s: float) -> None:
    from host.journal.records import parse, raw_line

    record = raw_record(line, host_s)
    assert record.endswith(b"\n") and all(0x20 <= byte < 0x7F for byte in record[:-1])
    read = parse(record[:-1])
    assert raw_line(read.payload) == line and abs(read.host_s - host_s) <= 0.5e-6 + 1e-9


def test_files_that_are_no_runs_get_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "empty.sward").touch()
    (tmp_path / "photo.sward").write_bytes(bytes(range(256)) * 40)
    (tmp_path / "text.sward").write_text("time,flow\n0,1\n" * 1_000)
    (tmp_path / "torn.sward").write_bytes(json_record("H", 0.0, {"schema": "1.0"})[:-4])
    (tmp_path / "zeros.sward").write_bytes(bytes(10_000_000))
    (tmp_path / "later.sward").write_bytes(json_record("H", 0.0, {"schema": "2.0"}))
    for name, words in [
        ("empty.sward", "is empty"),
        ("photo.sward", "is no Swardflow run file"),
        ("text.sward", "is no Swardflow run file"),
        ("torn.sward", "is no Swardflow run file"),
        ("zeros.sward", "is no Swardflow run file"),
        ("later.sward", "format 2.0"),
        ("missing.sward", "no such file"),
        ("", "is a folder"),
    ]:
        with pytest.raises(UserError, match=words) as caught:
            read_run(tmp_path / name)
        assert str(tmp_path / name) in str(caught.value) and "\n" not in str(caught.value)


def test_a_huge_foreign_file_is_given_up_early(tmp_path: Path) -> None:
    path = tmp_path / "huge.sward"
    with path.open("wb") as file:
        file.truncate(20 << 30)  # sparse: takes no room, would take minutes to read
    with pytest.raises(UserError, match="is no Swardflow run file"):
        read_run(path)


def test_a_run_that_lost_its_header_is_still_read(tmp_path: Path) -> None:
    write_run(tmp_path / "a.sward", 20)
    data = (tmp_path / "a.sward").read_bytes()
    (tmp_path / "b.sward").write_bytes(data[data.index(b"\nN ") + 1 :])
    run = read_run(tmp_path / "b.sward")
    assert len(run.frames) == 20 and run.header == {} and run.rig_toml == "" and run.lost_records == 6


def test_damage_everywhere_does_not_fill_the_memory(tmp_path: Path) -> None:
    path = tmp_path / "a.sward"
    path.write_bytes(raw_record(identity_line(), 1.0) + b"\n" * 50_000 + raw_record(report_line(1), 2.0))
    run = read_run(path)
    assert len(run.damage) == 1_000 and run.damaged == 50_000 and len(run.frames) == 1
    assert run.damage[0].line_number == 2 and run.damage[0].byte_offset == len(raw_record(identity_line(), 1.0))
