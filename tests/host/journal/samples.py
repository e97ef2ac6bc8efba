"""Runs made up for the tests: a short one with every kind of record, and lines as a board would send them."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np

from firmware_protocol.messages import Identity, Report, encode_identity, encode_report
from host.journal import Batch, JournalWriter, RunReader, Snapshot

RIG = 'name = "Harrow Lea four-nozzle"\nunits = "us"\n'


@cache
def report_line(number: int) -> bytes:
    """The report of frame `number` at ten a second: 3 flow pulses and 2 wheel pulses in each."""
    clock = (number + 1) * 100_000 % 2**32
    counts = (number * 3, (clock - 1_200) % 2**32, number * 2, (clock - 2_300) % 2**32)
    return encode_report(Report(7, number % 65_536, clock, *counts, 8_000, 490, 510, 1, 0, 0))


def identity_line() -> bytes:
    return encode_identity(Identity(7, "1.0", "bench", "1.0", 1023, 100, 0x3F, "P"))


def write_run(path: Path, frames: int, close: bool = True) -> None:
    """A run with notes, events, an identity, a damaged line, and `frames` reports in two stretches."""
    writer = JournalWriter(path, Snapshot({"started": "2026-05-14T09:15:00+01:00"}, RIG, [{"meter": "450 /L"}]))
    writer.note("area", "Lower green", 0.0)
    writer.event("run_start", 0.0)
    writer.raw_line(identity_line(), 0.05)
    half = frames // 2
    for number in range(half):
        writer.raw_line(report_line(number), 0.1 * (number + 1))
    writer.event("refill", 0.1 * half, text="tank full \u00e9")
    writer.raw_line(b"R07 00\xff\x00 \\ torn", 0.1 * half)
    for number in range(half, frames):
        writer.raw_line(report_line(number), 0.1 * (number + 1))
    writer.flush()
    if close:
        assert writer.close("complete", "asked to stop", 1, 0.1 * (frames + 1)) == b""


def read_in_pieces(data: bytes, cuts: list[int]) -> list[Batch]:
    """The batches of `data` cut at the given offsets, the finishing one included."""
    reader = RunReader()
    borders = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    batches = [reader.push(data[start:end]) for start, end in pairwise(borders)]
    return [*batches, reader.finish()]


def joined(batches: list[Batch]) -> tuple[object, ...]:
    """Everything in the batches, as one value that can be compared."""
    count = 0
    events: list[tuple[float, int, str, dict[str, object]]] = []
    counts: dict[str, int] = {}
    for batch in batches:
        events += [(one.host_s, one.before_frame + count, one.kind, one.detail) for one in batch.events]
        count += len(batch.frames)
        for tag, number in batch.records.items():
            counts[tag] = counts.get(tag, 0) + number
    return (
        np.concatenate([batch.frames for batch in batches]).tobytes(),
        events,
        [one for batch in batches for one in batch.damage],
        sum(batch.wire_damage for batch in batches),
        counts,
    )
