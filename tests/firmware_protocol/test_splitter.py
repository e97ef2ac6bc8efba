"""Lines come out the same however the stream is chopped up."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol.splitter import MAX_PENDING, LineSplitter

STREAMS = st.lists(
    st.one_of(st.binary(max_size=12), st.sampled_from([b"\n", b"\r\n", b"\r", b"\n\n", b"R05 000A\n", b"x" * 300])),
    max_size=30,
).map(b"".join)


def _lines(chunks: list[bytes]) -> list[bytes]:
    splitter = LineSplitter()
    lines = [line for chunk in chunks for line in splitter.push(chunk)]
    return lines + splitter.flush()


@given(STREAMS, st.lists(st.integers(0, 400), max_size=20))
def test_any_chunking_gives_the_same_lines(stream: bytes, cuts: list[int]) -> None:
    places = sorted({min(cut, len(stream)) for cut in cuts} | {0, len(stream)})
    chunks = [stream[start:end] for start, end in pairwise(places)]
    whole = _lines([stream])
    assert _lines(chunks) == whole
    assert _lines([stream[i : i + 1] for i in range(len(stream))]) == whole


@given(STREAMS)
def test_nothing_but_line_ends_is_lost(stream: bytes) -> None:
    lines = _lines([stream])
    assert b"".join(lines).replace(b"\r", b"") == stream.replace(b"\n", b"").replace(b"\r", b"")
    assert all(0 < len(line) <= MAX_PENDING and b"\n" not in line for line in lines)


def test_a_carriage_return_before_the_line_feed_is_taken_off() -> None:
    assert _lines([b"R05\r\nI\r", b"\n\r\n\n\rA\r\r\nlast\r"]) == [b"R05", b"I", b"\rA\r", b"last"]


def test_a_stream_without_line_feeds_keeps_memory_bounded() -> None:
    splitter = LineSplitter()
    handed_out = sum(len(line) for _ in range(100) for line in splitter.push(b"\xff" * 1000))
    assert 100_000 - MAX_PENDING <= handed_out <= 100_000
