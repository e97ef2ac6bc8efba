"""The wire's checksum, line by line and over many lines of one length at once.

CRC-16/IBM-3740: width 16, polynomial 0x1021, initial value 0xFFFF, not reflected, no final XOR; check value
0x29B1 over the nine bytes "123456789" (CRC RevEng, Catalogue of parametrised CRC algorithms).
"""

from __future__ import annotations

from binascii import crc_hqx
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

_INITIAL = 0xFFFF


def crc16(data: bytes) -> int:
    """Checksum of `data`, 0 to 65535."""
    return crc_hqx(data, _INITIAL)


class ColumnCrc:
    """A checksum of many equally long messages, worked out column by column.

    A CRC is affine over GF(2): crc(m) = crc(0…0) ⊕ Σ tᵢ[mᵢ], where tᵢ[b] is what byte b at place i adds. The tables
    are built from the scalar function itself, so its parameters stand in one place. Two neighbouring bytes share one
    table of 65,536 entries, which halves the look-ups.
    """

    def __init__(self, crc: Callable[[bytes], int], length: int, dtype: type[np.unsignedinteger[Any]]) -> None:
        if length < 2 or length % 2:
            raise ValueError(f"length must be even and at least 2, not {length}")
        self.length = length
        self._zero = dtype(crc(bytes(length)))
        self._tables = [_pair_table(crc, length, place, self._zero).astype(dtype) for place in range(0, length, 2)]

    def __call__(self, pairs: npt.NDArray[np.uint16]) -> npt.NDArray[Any]:
        """Checksums of the messages in `pairs`, shape (length / 2, n): row i holds bytes 2i and 2i+1, little-endian."""
        total = np.full(pairs.shape[1], self._zero)
        # Looking up by the machine's own index type, column by column, is faster than the two conversions it saves.
        for table, column in zip(self._tables, pairs.astype(np.intp, order="C"), strict=True):
            total ^= table.take(column, mode="clip")
        return total


def _pair_table(
    crc: Callable[[bytes], int], length: int, place: int, zero: np.unsignedinteger[Any]
) -> npt.NDArray[np.uint64]:
    single = np.empty((2, 256), dtype=np.uint64)
    message = bytearray(length)
    for offset in range(2):
        for value in range(256):
            message[place + offset] = value
            single[offset, value] = crc(bytes(message)) ^ int(zero)
        message[place + offset] = 0
    pairs: npt.NDArray[np.uint64] = single[1][:, None] ^ single[0][None, :]
    return pairs.reshape(-1)
