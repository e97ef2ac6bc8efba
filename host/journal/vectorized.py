"""Many raw records at once: the same reading as `records.parse` and the wire's `decode`, in arrays.

The record of a report has a fixed length and fixed places, so a stretch of them is a table of bytes.
"""

from __future__ import annotations

from functools import cache
from zlib import crc32

import numpy as np
import numpy.typing as npt

from firmware_protocol.crc import ColumnCrc
from firmware_protocol.messages import REPORT_LENGTH
from firmware_protocol.vectorized import BLOCK, REPORT_DTYPE, decode_reports
from host.journal.records import CRC_DIGITS, FIRST_TIME_DIGITS, RAW

BULK_LINES = 64  # fewer lines are read one at a time: the tables would cost more than they save

_TIME = 2  # first column of the time
_PAYLOAD = _TIME + FIRST_TIME_DIGITS + 1
CHECKED = _PAYLOAD + REPORT_LENGTH + 1  # columns under the checksum
ROW = CHECKED + CRC_DIGITS + 1  # columns of a record, line feed included: 105

_POINT = _TIME + 6
_TIME_DIGITS = [column for column in range(_TIME, _PAYLOAD - 1) if column != _POINT]
_MICROSECONDS = 10.0 ** np.arange(len(_TIME_DIGITS))[::-1]
_SPACES = (_TIME - 1, _PAYLOAD - 1, CHECKED - 1)
_HEX = np.frombuffer(b"".join(b"%02X" % byte for byte in range(256)), dtype=np.uint16)


@cache
def _column_crc() -> ColumnCrc:
    return ColumnCrc(crc32, CHECKED, np.uint32)


def read_rows(
    rows: npt.NDArray[np.uint8],
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.void], npt.NDArray[np.bool_]]:
    """Read raw records from `rows`, shape (n, 105): one record each, line feed included.

    Returns the host times in seconds, the reports (REPORT_DTYPE) and which rows are sound reports in sound records.
    Rows that are not sound hold no meaning.
    """
    host_s = np.empty(len(rows))
    sound = np.empty(len(rows), dtype=np.bool_)
    reports = np.empty(len(rows), dtype=REPORT_DTYPE)
    for start in range(0, len(rows), BLOCK):
        block = slice(start, start + BLOCK)
        reports[block], well_reported = decode_reports(
            np.ascontiguousarray(rows[block, _PAYLOAD : _PAYLOAD + REPORT_LENGTH])
        )
        host_s[block], well_recorded = _read_frame_around(rows[block])
        sound[block] = well_reported & well_recorded
    return host_s, reports, sound


def _read_frame_around(rows: npt.NDArray[np.uint8]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
    """Time and soundness of what stands around the payload."""
    pairs = np.ascontiguousarray(rows[:, :CHECKED]).view(np.uint16).T
    crc = _column_crc()(pairs)
    written = rows[:, CHECKED : CHECKED + CRC_DIGITS]
    sound = written.view(np.uint64)[:, 0] == _HEX.take(crc.astype(">u4").view(np.uint8)).view(np.uint64)
    sound &= (rows[:, 0] == ord(RAW)) & (rows[:, _POINT] == ord("."))
    sound &= (rows[:, _SPACES] == ord(" ")).all(axis=1)
    time_digits = rows[:, _TIME_DIGITS] - np.uint8(ord("0"))  # wraps for what is no digit, and so exceeds 9
    sound &= (time_digits <= 9).all(axis=1)
    # Whole microseconds are exact in a float; one division then rounds as reading the text would.
    return (time_digits @ _MICROSECONDS) / 1e6, sound
