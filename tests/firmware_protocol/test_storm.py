"""A sick line: nothing that was not sent is taken for sound, beyond what a checksum of 16 bits lets through."""

from __future__ import annotations

import itertools
import random
import tracemalloc

import numpy as np
import pytest

from firmware_protocol.messages import REPORT_LENGTH, LineError, Report, decode, encode_report
from firmware_protocol.splitter import MAX_PENDING, LineSplitter
from firmware_protocol.vectorized import decode_reports
from tests.firmware_protocol.storm import Storm, candidates, may_pass


def accepted(line: bytes) -> bool:
    try:
        decode(line)
    except LineError:
        return False
    return True


@pytest.mark.parametrize("size", [400_000, pytest.param(10_000_000, marks=pytest.mark.soak)])
def test_nothing_is_accepted_that_was_not_sent(size: int) -> None:
    storm, splitter = Storm(70, size), LineSplitter()
    lines = [line for piece in storm for line in splitter.push(piece)] + splitter.flush()
    taken = [line for line in lines if accepted(line)]
    known = set(storm.sent)
    wrong, doubtful = [line for line in taken if line not in known], candidates(lines, storm.sent)
    print(
        f"{storm.bytes} bytes, {len(lines)} lines, {len(taken)} taken; {doubtful} damaged ones left to the checksum, ",
        end="",
    )
    print(f"{len(wrong)} of them taken, {doubtful / 2**16:.1f} expected")
    assert len(wrong) <= may_pass(doubtful)
    assert [line for line in taken if line in known] == storm.sent, "every sound line is taken, in order"
    reports = [line for line in lines if len(line) == REPORT_LENGTH]
    rows = np.frombuffer(b"".join(reports), dtype=np.uint8).reshape(-1, REPORT_LENGTH)
    sound = decode_reports(rows)[1].tolist()
    assert sound == [line[:1] == b"R" and accepted(line) for line in reports], "in bulk as one at a time"


def test_memory_stays_flat_in_a_storm() -> None:
    pieces, splitter = list(Storm(71, 400_000)), LineSplitter()
    tracemalloc.start()
    try:
        before, _ = tracemalloc.get_traced_memory()
        for piece in pieces:
            assert all(len(line) <= MAX_PENDING for line in splitter.push(piece))
        after, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert after - before < 4 * MAX_PENDING, "bytes kept of 400,000"


@pytest.mark.parametrize("bits", [1, pytest.param(2, marks=pytest.mark.soak)])
def test_every_flip_of_one_or_two_bits_is_found(bits: int) -> None:
    """Sure, not only likely, although the checksum travels as digits, where one bit is not one bit of the checksum."""
    draw = random.Random(73)
    for _ in range(5):
        line = encode_report(Report(*(draw.randrange(200) for _ in range(13))))
        for places in itertools.combinations(range(8 * len(line)), bits):
            flipped = bytearray(line)
            for place in places:
                flipped[place // 8] ^= 1 << place % 8
            assert not accepted(bytes(flipped)), (line, places)
