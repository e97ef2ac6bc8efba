"""Totals over wraps, restarts and gaps."""

import numpy as np
import pytest

from firmware_protocol.vectorized import decode_reports
from host.frames import FRAME_DTYPE
from host.pipeline.counts import CountUnwrapper
from host.pipeline.pulses import PulseTimer
from tests.firmware_protocol.vector_files import rows as vector_rows
from tests.host.pipeline.made import made_frames, steady

SEQUENCES = vector_rows("sequences.tsv")


def test_totals_go_on_over_the_wrap_of_clock_and_counters():
    n = 200
    frames = steady(n, flow_hz=100.0, wheel_hz=30.0, first_clock_us=2**32 - 5_000_000, counts=(2**32 - 500, 2**32 - 20))
    counts = CountUnwrapper().push(frames, [])
    assert not counts.reset.any()
    np.testing.assert_array_equal(counts.board_us, np.arange(n) * 100_000)
    assert counts.flow.total[-1] == 100 * (n - 1) * 0.1
    assert counts.wheel.total[-1] == 30 * (n - 1) * 0.1


def test_lost_lines_lose_no_pulses():
    frames = steady(3000)
    whole = CountUnwrapper().push(frames, [])
    kept = np.concatenate((frames[:100], frames[1500:1501], frames[2999:]))
    counts = CountUnwrapper().push(kept, [])
    assert counts.flow.total[-1] == whole.flow.total[-1]
    assert counts.wheel.total[-1] == whole.wheel.total[-1]
    assert counts.lost.sum() == len(frames) - len(kept)


def test_a_link_that_was_down_for_longer_than_the_clock_takes_to_wrap():
    # 100 minutes away: the 32-bit µs clock has wrapped once and the difference alone would say 28 minutes.
    frames = steady(60_001)
    counts = CountUnwrapper().push(frames[[0, 60_000]], [])
    assert counts.board_us[-1] == 6_000_000_000
    assert counts.flow.total[-1] == CountUnwrapper().push(frames, []).flow.total[-1]


def test_a_restart_loses_only_what_was_pumped_while_the_board_was_down():
    before = steady(100, flow_hz=50.0)
    after = steady(100, flow_hz=50.0, boot=8)
    after["host_s"] += 10.0 + 3.0  # three seconds down
    counts = CountUnwrapper().push(np.concatenate((before, after)), [])
    assert counts.reset.sum() == 1
    assert counts.reset[100]
    pulses = int(before["flow_count"][-1]) - int(before["flow_count"][0]) + int(after["flow_count"][-1])
    assert counts.flow.total[-1] == pulses


def test_a_restart_that_kept_the_boot_number_is_seen_by_its_clock():
    before = steady(6000)
    after = steady(100)
    after["host_s"] += 601.0
    counts = CountUnwrapper().push(np.concatenate((before, after)), [])
    assert counts.reset.sum() == 1
    expected = int(before["flow_count"][-1]) - int(before["flow_count"][0]) + int(after["flow_count"][-1])
    assert counts.flow.total[-1] == expected


def test_a_frame_that_fits_nowhere_adds_nothing():
    frames = steady(300, first_clock_us=3_000_000_000, counts=(40_000, 9_000))
    frames["flow_count"][150] = 3_999_999_999  # a damaged line whose checksum agreed by chance
    counts = CountUnwrapper().push(frames, [])
    true = CountUnwrapper().push(steady(300, first_clock_us=3_000_000_000, counts=(40_000, 9_000)), [])
    lost = true.flow.total[-1] - counts.flow.total[-1]
    assert 0 <= lost <= 8  # what flowed in the two intervals next to it


def test_another_board_plugged_in_starts_anew():
    one = steady(100)
    other = steady(100, boot=99, first_clock_us=3_600_000_000, counts=(123_456, 777))
    other["host_s"] += 11.0
    counts = CountUnwrapper().push(np.concatenate((one, other)), [])
    assert not counts.reset.any()
    assert counts.broken[100]
    assert counts.flow.total[-1] == 2 * 99 * 4


def test_no_pulses_for_longer_than_the_age_can_be_told():
    # The edge time is on a clock that wraps after 71.6 minutes; a parked sprayer must not seem to pulse again.
    n = 2 * 43_000
    hz = np.zeros(n)
    hz[:100] = 40.0
    counts = CountUnwrapper().push(made_frames(hz, hz, np.zeros(n, bool)), [])
    assert counts.flow.edge_us[-1] == counts.flow.edge_us[100]


def test_pulses_counted_over_a_restart_have_no_edge_time_and_make_no_frequency():
    frames = np.concatenate((steady(50), steady(50, boot=8)))
    frames["host_s"][50:] += 6.0
    frames["flow_edge"][50] = 0  # the board kept its count over the restart: pulses, but none in this start yet
    counts = CountUnwrapper().push(frames, [])
    assert counts.flow.step[50] > 0
    assert not counts.flow.timed[50]
    assert PulseTimer(270_000).push(counts, counts.flow).frequency_hz.max() < 41


@pytest.mark.parametrize("group", sorted({row["group"] for row in SEQUENCES}))
def test_golden_sequences_of_the_protocol(group):
    rows = [row for row in SEQUENCES if row["group"] == group]
    lines = np.frombuffer(b"".join(row["line"].encode() for row in rows), dtype=np.uint8)
    reports, sound = decode_reports(lines.reshape(len(rows), -1))
    assert sound.all()
    frames = np.empty(len(rows), dtype=FRAME_DTYPE)
    for name in reports.dtype.names:
        frames[name] = reports[name]
    frames["host_s"] = [float(row["host_s"]) for row in rows]
    counts = CountUnwrapper().push(frames, [])

    def expected(column):
        return [int(row[column]) for row in rows]

    assert np.cumsum(counts.reset).tolist() == expected("starts")
    assert counts.flow.total.tolist() == expected("flow_total")
    assert counts.wheel.total.tolist() == expected("wheel_total")
    assert np.cumsum(counts.lost).tolist() == expected("missing")
    assert np.cumsum(np.where(counts.broken, 0, counts.step_us)).tolist() == expected("clock_total")
