"""The checksum against its published check value, an independent library, and itself in bulk."""

from __future__ import annotations

import zlib

import numpy as np
import pytest
from crccheck.crc import Crc16Ibm3740  # type: ignore[import-untyped]
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_protocol.crc import ColumnCrc, crc16


def test_published_check_value() -> None:
    # Greg Cook, Catalogue of parametrised CRC algorithms (CRC RevEng): CRC-16/IBM-3740, check 0x29B1.
    assert crc16(b"123456789") == 0x29B1


@given(st.binary(max_size=200))
def test_agrees_with_an_independent_library(data: bytes) -> None:
    assert crc16(data) == Crc16Ibm3740.calc(data)


@settings(deadline=None)  # building the tables takes what it takes
@given(st.integers(1, 12), st.integers(0, 30), st.randoms(use_true_random=False))
def test_columns_agree_with_the_scalar_function(half: int, count: int, random) -> None:  # type: ignore[no-untyped-def]
    messages = [random.randbytes(2 * half) for _ in range(count)]
    pairs = np.frombuffer(b"".join(messages), dtype=np.uint16).reshape(count, half).T
    narrow, wide = ColumnCrc(crc16, 2 * half, np.uint16), ColumnCrc(zlib.crc32, 2 * half, np.uint32)
    assert narrow(pairs).tolist() == [crc16(message) for message in messages]
    assert wide(pairs).tolist() == [zlib.crc32(message) for message in messages]


@pytest.mark.parametrize("length", [0, 1, 7])
def test_columns_need_an_even_length(length: int) -> None:
    with pytest.raises(ValueError, match="even"):
        ColumnCrc(crc16, length, np.uint16)
