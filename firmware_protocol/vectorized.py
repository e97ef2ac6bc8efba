"""Many reports at once: the same reading as `messages.decode`, in arrays.

A report has a fixed length and fixed places, so a block of them is a table of bytes. Each field is read from all lines
together, and the checksum is worked out from the values read, sixteen bits at a time: once every character is known
to be one that the protocol allows, the values say all that the characters do.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from firmware_protocol.crc import crc16
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
_TEMPLATE = encode_report(Report(*[0] * len(REPORT_FIELDS)))[:-4] + b"0000"
_SPACES = [place for place, character in enumerate(_TEMPLATE) if character == ord(" ")]
_CHECKED = REPORT_LENGTH - 4  # characters under the checksum

_Words = npt.NDArray[np.uint64]


def decode_reports(
    rows: npt.NDArray[np.uint8],
) -> tuple[npt.NDArray[np.void], npt.NDArray[np.bool_]]:
    """Read reports from `rows`, shape (n, 79): one line each, without line feed.

    Returns a structured array of REPORT_DTYPE, shape (n,), and which of its rows are sound: right checksum and every
    field written as the protocol says. Rows that are not sound hold no meaning.
    """
    if rows.ndim != 2 or rows.shape[1] != REPORT_LENGTH:
        raise ValueError(f"rows must have shape (n, {REPORT_LENGTH}), not {rows.shape}")
    if rows.strides[1] != 1:
        rows = np.ascontiguousarray(rows)
    reports = np.empty(len(rows), dtype=REPORT_DTYPE)
    sound = np.empty(len(rows), dtype=np.bool_)
    for start in range(0, len(rows), BLOCK):
        block = slice(start, start + BLOCK)
        sound[block] = _decode_block(rows[block], reports[block])
    return reports, sound


def _decode_block(rows: npt.NDArray[np.uint8], reports: npt.NDArray[np.void]) -> npt.NDArray[np.bool_]:
    tables = _checksum_tables()
    checksum = np.full(len(rows), crc16(_TEMPLATE[:_CHECKED]), dtype=np.uint16)
    wrong: _Words = np.zeros(len(rows), dtype=np.uint64)
    for start, fields in _WINDOWS:
        text = rows[:, start : start + 8].view(">u8")[:, 0].astype(np.uint64)
        value = _read_digits(text, start, wrong)
        for name, shift in fields:
            field = value if _DIGITS.get(name) == 8 else (value >> shift if shift else value) & _mask(name)
            if name == "crc":
                checksum ^= field.astype(np.uint16)
                continue
            reports[name] = field
            for low_bit, table in tables[name]:
                part = (field >> low_bit) & 0xFFFF if _DIGITS[name] == 8 else field
                checksum ^= table.take(part.view(np.int64), mode="clip")
    sound: npt.NDArray[np.bool_] = rows[:, 0] == _TEMPLATE[0]
    for place in _SPACES:
        sound &= rows[:, place] == ord(" ")
    sound &= wrong == 0
    sound &= checksum == 0
    return sound


def _read_digits(text: _Words, start: int, wrong: _Words) -> _Words:
    """The 32-bit number written in the eight characters of each element of `text`, which stand at `start` in the line.

    Sets bits in `wrong` where a character that should be one of 0-9A-F is not. With `flipped` = character ⊕ 0x30,
    digits are 00 to 09 and letters 71 to 76 (hexadecimal). Adding 9 where bit 6 is set, then 6, takes 0-9 to 06 to 0F
    and A-F to 80 to 85, while any other character gets a bit in 0x70, or had or gets bit 7 before the 6 is added. A
    carry out of a byte starts from one that had bit 7, so a line with a carry is refused for that byte.
    """
    flipped = text ^ _each(0x30)
    nibbles = flipped + ((flipped >> 6) & _each(0x01)) * np.uint64(9)
    high, middle = _masks(start)
    wrong |= (flipped | nibbles) & high
    wrong |= (nibbles + _each(6)) & middle
    nibbles &= _each(0x0F)
    pairs = (nibbles | nibbles >> 4) & np.uint64(0x00FF00FF00FF00FF)
    quads = (pairs | pairs >> 8) & np.uint64(0x0000FFFF0000FFFF)
    number: _Words = (quads | quads >> 16) & np.uint64(0xFFFFFFFF)
    return number


@cache
def _each(byte: int) -> np.uint64:
    return np.uint64(byte * 0x0101010101010101)


@cache
def _mask(name: str) -> np.uint64:
    return np.uint64(16 ** _DIGITS.get(name, 4) - 1)


@cache
def _masks(start: int) -> tuple[np.uint64, np.uint64]:
    """Masks 0x80 and 0x70 for those of the eight characters at `start` that are digits."""
    digits = bytes(character == ord("0") for character in _TEMPLATE[start : start + 8])
    ones = np.uint64(int.from_bytes(digits, "big"))
    return ones * np.uint64(0x80), ones * np.uint64(0x70)


@cache
def _checksum_tables() -> dict[str, list[tuple[int, npt.NDArray[np.uint16]]]]:
    """For each field, what it adds to the checksum of a report that is otherwise all zeros.

    A CRC is affine over GF(2), so the checksum of any report is that of the zero report ⊕ one table entry for each
    (low bit, table) here: a table takes up to four digits, `value >> low_bit & 0xFFFF`.
    """
    tables: dict[str, list[tuple[int, npt.NDArray[np.uint16]]]] = {}
    place = 0
    for name, digits in REPORT_FIELDS:
        place = _TEMPLATE.index(b"0", place)
        parts = [_digits_table(place + first, min(4, digits)) for first in range(0, digits, 4)]
        tables[name] = [(16 * i, table) for i, table in enumerate(reversed(parts))]
        place += digits
    return tables


def _digits_table(place: int, digits: int) -> npt.NDArray[np.uint16]:
    """What the value of `digits` digits at `place` adds to the checksum, by value."""
    zero = crc16(_TEMPLATE[:_CHECKED])
    total = np.zeros(1, dtype=np.uint16)
    for i in range(place, place + digits):
        lines = [_TEMPLATE[:i] + b"%X" % digit + _TEMPLATE[i + 1 : _CHECKED] for digit in range(16)]
        single = np.array([crc16(line) ^ zero for line in lines], dtype=np.uint16)
        total = (total[:, None] ^ single[None, :]).reshape(-1)
    return total
