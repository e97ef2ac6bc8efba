"""Reading in bulk gives exactly what reading line by line gives."""

from __future__ import annotations

from dataclasses import astuple

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_protocol.crc import crc16
from firmware_protocol.messages import (
    REPORT_FIELDS,
    REPORT_LENGTH,
    LineError,
    Report,
    decode,
    encode_report,
    seal,
)
from firmware_protocol.vectorized import BLOCK, decode_reports
from tests.firmware_protocol.vector_files import rows, unescape

REPORTS = st.builds(Report, **{name: st.integers(0, 16**digits - 1) for name, digits in REPORT_FIELDS})


def _scalar(line: bytes) -> Report | None:
    try:
        message = decode(line)
    except LineError:
        return None
    return message if isinstance(message, Report) else None


def _assert_agrees(table: npt.NDArray[np.uint8]) -> npt.NDArray[np.bool_]:
    reports, sound = decode_reports(table)
    for values, ok, line in zip(reports.tolist(), sound.tolist(), table, strict=True):
        expected = _scalar(line.tobytes())
        assert ok == (expected is not None), line.tobytes()
        if expected is not None:
            assert values == astuple(expected)
    return sound


def test_every_byte_value_at_every_position() -> None:
    line = np.frombuffer(unescape(rows("reports.tsv")[2]["line"]), dtype=np.uint8)
    table = np.tile(line, (REPORT_LENGTH * 256, 1))
    table[np.arange(len(table)), np.repeat(np.arange(REPORT_LENGTH), 256)] = np.tile(np.arange(256), REPORT_LENGTH)
    sound = _assert_agrees(table)
    assert sound.sum() == REPORT_LENGTH  # only where the byte is the one that was there


@pytest.mark.parametrize("place", range(REPORT_LENGTH - 4))
def test_every_byte_value_at_every_position_under_a_right_checksum(place: int) -> None:
    """What the checksum cannot find, the form must: a sender that writes the wrong characters and seals them."""
    checked = unescape(rows("reports.tsv")[2]["line"])[:-4]
    lines = []
    for value in range(256):
        written = checked[:place] + bytes([value]) + checked[place + 1 :]
        lines.append(written + b"%04X" % crc16(written))
    _assert_agrees(np.frombuffer(b"".join(lines), dtype=np.uint8).reshape(256, REPORT_LENGTH))


@settings(deadline=None)
@given(st.lists(REPORTS, min_size=1, max_size=20), st.randoms(use_true_random=False))
def test_any_values_and_any_damage(reports: list[Report], random) -> None:  # type: ignore[no-untyped-def]
    table = np.frombuffer(b"".join(map(encode_report, reports)), dtype=np.uint8).reshape(-1, REPORT_LENGTH).copy()
    assert _assert_agrees(table).all()
    for line in table:
        for _ in range(random.randrange(3)):
            line[random.randrange(REPORT_LENGTH)] = random.randrange(256)
    _assert_agrees(table)


def test_blocks_and_views_do_not_matter() -> None:
    lines = [encode_report(Report(1, i % 65536, i * 100_000 % 2**32, *[i % 200] * 10)) for i in range(2 * BLOCK + 3)]
    stream = np.frombuffer(b"\n".join(lines) + b"\n", dtype=np.uint8).reshape(-1, REPORT_LENGTH + 1)
    reports, sound = decode_reports(stream[:, :REPORT_LENGTH])
    assert sound.all()
    assert reports["seq"].tolist() == list(range(2 * BLOCK + 3))
    columns_first, _ = decode_reports(np.asfortranarray(stream[:, :REPORT_LENGTH]))
    every_other, _ = decode_reports(stream[::2, :REPORT_LENGTH])
    assert (columns_first == reports).all()
    assert (every_other == reports[::2]).all()


def test_no_rows_and_wrong_shapes() -> None:
    reports, sound = decode_reports(np.empty((0, REPORT_LENGTH), dtype=np.uint8))
    assert len(reports) == len(sound) == 0
    with pytest.raises(ValueError, match="shape"):
        decode_reports(np.empty((3, REPORT_LENGTH + 1), dtype=np.uint8))


def test_seal_is_what_encoding_uses() -> None:
    line = encode_report(Report(*range(13)))
    assert seal(line[:-5].decode()) == line
