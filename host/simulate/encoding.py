"""Many reports written at once: the same lines as `messages.encode_report`, from arrays."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from firmware_protocol.crc import crc16
from firmware_protocol.messages import REPORT_FIELDS, Report, encode_report

_TEMPLATE = encode_report(Report(*[0] * len(REPORT_FIELDS)))[:-4]
_DIGITS = np.frombuffer(b"0123456789ABCDEF", dtype=np.uint8)


def _places() -> list[tuple[str, int, int]]:
    """Name, place of the first digit and number of digits of each field."""
    places, start = [], 0
    for name, digits in REPORT_FIELDS:
        start = _TEMPLATE.index(b"0", start)
        places.append((name, start, digits))
        start += digits
    return places


_PLACES = _places()


def encode_reports(reports: npt.NDArray[Any]) -> list[bytes]:
    """The lines of `reports`, shape (n,), REPORT_DTYPE, without line feeds."""
    rows = np.tile(np.frombuffer(_TEMPLATE, dtype=np.uint8), (len(reports), 1))
    for name, start, digits in _PLACES:
        values = reports[name].astype(np.uint32)
        for place in range(digits):
            rows[:, start + place] = _DIGITS[(values >> np.uint32(4 * (digits - 1 - place))) & np.uint32(0xF)]
    text, length = rows.tobytes(), len(_TEMPLATE)
    bodies = [text[begin : begin + length] for begin in range(0, len(text), length)]
    return [b"%s%04X" % (body, crc16(body)) for body in bodies]
