"""Bytes as a sick line brings them: sound reports among damage of every kind, and how much of it may pass as sound."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator

from firmware_protocol.messages import Report, encode_report

LINE_FEED = b"\n"
SURE = 1e-9  # how unlikely it is that a right decoder exceeds the bound below
ENDLESS = 1_000_000  # bytes without a line feed, a quarter of the stream at most
# Everything that the checksum has to decide about: short enough, a space and four digits at the end.
_CANDIDATE = re.compile(rb".{1,74} [0-9A-F]{4}", re.DOTALL)


class Storm:
    """Pieces of a stream from `seed`; `sent` fills with the sound lines among them, without line feed.

    A quarter each: sound reports; reports with 1 to 24 bits flipped; reports whose digits and checksum are drawn at
    random; random bytes, half lines, NULs. Once, in the middle, up to a megabyte comes without a line feed.
    """

    def __init__(self, seed: int, size: int) -> None:
        self.sent: list[bytes] = []
        self.bytes = 0
        self._random = random.Random(seed)
        self._size = size

    def __iter__(self) -> Iterator[bytes]:
        makers = (self._sound, self._flipped, self._drawn, self._noise)
        yield from self._pieces(self._size // 2, makers)
        endless = self._random.randbytes(min(ENDLESS, self._size // 4)).replace(LINE_FEED, b"\0")
        yield self._counted(endless + LINE_FEED)
        yield from self._pieces(self._size, makers)

    def _pieces(self, until: int, makers: tuple[object, ...]) -> Iterator[bytes]:
        while self.bytes < until:
            maker = self._random.choice(makers)
            assert callable(maker)
            yield self._counted(maker())

    def _counted(self, piece: bytes) -> bytes:
        self.bytes += len(piece)
        return piece

    def _report(self) -> bytes:
        bits = self._random.getrandbits
        times = (bits(32), bits(32), bits(32), bits(32), bits(32))
        return encode_report(Report(bits(8), bits(16), *times, bits(14), bits(10), bits(10), bits(6), bits(8), bits(8)))

    def _sound(self) -> bytes:
        line = self._report()
        self.sent.append(line)
        return LINE_FEED + line + LINE_FEED  # its own line, whatever stands before it

    def _flipped(self) -> bytes:
        line = bytearray(self._report() + LINE_FEED)
        for place in self._random.sample(range(8 * len(line)), self._random.randint(1, 24)):
            line[place // 8] ^= 1 << place % 8
        return bytes(line)

    def _drawn(self) -> bytes:
        digits = self._random.choices(b"0123456789ABCDEF", k=80)
        shape = self._report()
        drawn = bytes(digit if old != ord(" ") else old for digit, old in zip(digits, shape[1:], strict=False))
        return shape[:1] + drawn + LINE_FEED

    def _noise(self) -> bytes:
        draw = self._random
        match draw.randrange(3):
            case 0:
                return draw.randbytes(draw.randint(1, 200))
            case 1:
                return self._report()[: draw.randint(1, 78)]
        return bytes(draw.randint(1, 200))


def candidates(lines: list[bytes], sent: list[bytes]) -> int:
    """How many of `lines` were not sent and are damaged so that the checksum has to decide."""
    known = set(sent)
    return sum(1 for line in lines if line not in known and _CANDIDATE.fullmatch(line))


def may_pass(count: int) -> int:
    """How many of `count` candidates a checksum of 16 bits lets through at most.

    Damage beyond what a CRC is sure to find agrees with it by chance once in 2¹⁶, so the number that passes has a
    Poisson distribution; a right decoder exceeds the bound with the probability SURE.
    """
    from scipy.stats import poisson  # takes seconds to load

    return int(poisson.isf(SURE, count / 2**16))
