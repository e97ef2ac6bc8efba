"""Many reports at once: the same reading as `messages.decode`, in arrays.

A report has a fixed length and fixed places, so a block of them is a table of bytes: the checksum is worked out
column by column and each field is read from all lines together.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from firmware_protocol.crc import ColumnCrc, crc16
from firmware_protocol.messages import REPORT_FIELDS, REPORT_LENGTH, Report, encode_report

BLOCK = 8_192  # lines worked on together: small enough for the processor's cache

_TYPES = {2: np.uint8, 3: np.uint16, 4: np.uint16, 8: np.uint32}
_DIGITS = dict(REPORT_FIELDS)
REPORT_DTYPE = np.dtype([(name, _TYPES[digits]) for name, digits in REPORT_FIELDS])

# Eight characters are read as one number, so each field lies in a window of eight; where a field is shorter the
# window also holds its neighbours. (start of window, ((field, right shift), …)).
_WINDOWS: tuple[tuple[int, tuple[tuple[str, int], ...]], ...] = (
    (0, (("boot", 20), ("seq", 0))),
    (9, (("clock", 0),)),
    (18, (("flow_count", 0),)),
    (27, (("flow_edge", 0),)),
    (36, (("wheel_count", 0),)),
    (45, (("wheel_edge", 0),)),
    (54, (("pressure_mean", 16), ("pressure_min", 0))),
    (63, (("pressure_max", 20), ("flags", 8))),
    (70, (("edges_dropped", 24), ("lines_dropped", 16))),
    (71, (("crc", 0),)),
)
_TEMPLATE = np.frombuffer(encode_report(Report(*[0] * len(REPORT_FIELDS)))[:-4] + b"0000", dtype=np.uint8)
_SPACES = np.flatnonzero(_TEMPLATE == ord(" "))
_CHECKED = REPORT_LENGTH - 4  # characters under the checksum


def _each(byte: int) -> np.uint64:
    return np.uint64(byte * 0x0101010101010101)


@cache
def _column_crc() -> ColumnCrc:
    # One character more than is checked, because columns go in pairs; it adds nothing.
    return ColumnCrc(lambda message: crc16(message[:_CHECKED]), _CHECKED + 1, np.uint16)


def decode_reports(
    rows: npt.NDArray[np.uint8],
) -> tuple[npt.NDArray[np.void], npt.NDArray[np.bool_]]:
    """Read reports from `rows`, shape (n, 79): one line each, without line feed.

    Returns a structured array of REPORT_DTYPE, shape (n,), and which of its rows are sound: right checksum and every
    field written as the protocol says. Rows that are not sound hold no meaning.
    """
    if rows.ndim != 2 or rows.shape[1] != REPORT_LENGTH:
        raise ValueError(f"rows must have shape (n, {REPORT_LENGTH}), not {rows.shape}")
    reports = np.empty(len(rows), dtype=REPORT_DTYPE)
    sound = np.empty(len(rows), dtype=np.bool_)
    for start in range(0, len(rows), BLOCK):
        block = slice(start, start + BLOCK)
        sound[block] = _decode_block(rows[block], reports[block])
    return reports, sound


def _decode_block(rows: npt.NDArray[np.uint8], reports: npt.NDArray[np.void]) -> npt.NDArray[np.bool_]:
    pairs = np.ascontiguousarray(rows[:, : _CHECKED + 1]).view(np.uint16).T
    crc = _column_crc()(pairs)
    sound = (rows[:, 0] == _TEMPLATE[0]) & (rows[:, _SPACES] == ord(" ")).all(axis=1)
    for start, fields in _WINDOWS:
        text = np.ascontiguousarray(rows[:, start : start + 8]).view(">u8")[:, 0].astype(np.uint64)
        nibbles = (text & _each(0x0F)) + ((text >> np.uint64(6)) & _each(0x01)) * np.uint64(9)
        sound &= _is_canonical(text, nibbles, start)
        value = _packed(nibbles)
        for name, shift in fields:
            if name == "crc":
                sound &= (value & np.uint64(0xFFFF)) == crc
            else:
                mask = np.uint64(16 ** _DIGITS[name] - 1)
                reports[name] = (value >> np.uint64(shift)) & mask
    return sound


def _packed(nibbles: npt.NDArray[np.uint64]) -> npt.NDArray[np.uint64]:
    """The 32-bit number whose eight nibbles stand in the eight bytes of each element."""
    pairs = (nibbles | nibbles >> np.uint64(4)) & np.uint64(0x00FF00FF00FF00FF)
    quads = (pairs | pairs >> np.uint64(8)) & np.uint64(0x0000FFFF0000FFFF)
    return (quads | quads >> np.uint64(16)) & np.uint64(0xFFFFFFFF)


def _is_canonical(
    text: npt.NDArray[np.uint64], nibbles: npt.NDArray[np.uint64], start: int
) -> npt.NDArray[np.bool_]:
    """Whether each hexadecimal place of the window is one of 0-9A-F: written out again, the digits give the text.

    For any byte the nibble is at most 24, so no carry reaches the neighbouring byte.
    """
    letter = ((nibbles + _each(6)) >> np.uint64(4)) & _each(0x01)
    rewritten = nibbles + letter * np.uint64(7) + _each(0x30)
    digit_places = _TEMPLATE[start : start + 8] == ord("0")
    mask = np.uint64(int.from_bytes(np.where(digit_places, 0xFF, 0).astype(np.uint8).tobytes(), "big"))
    beyond_f = nibbles & _each(0xF0)  # G and later would be written out right, too
    return np.asarray(((rewritten ^ text) | beyond_f) & mask == 0)
