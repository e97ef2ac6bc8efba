"""Rows a second: verified decoding of reports beside pandas.read_csv on the same lines, in the same run.

Run it as a script: python tests/bench/bench_decode.py [--lines 200000] [--repeats 7] [--json]

read_csv is given explicit types, twice: once on the very bytes of the wire (hexadecimal columns can only be read as
text, nothing is checked), once on the same values written in decimal as unsigned integers. Both it and the decoder get
the bytes in memory. Each repeat times all three in turn, so that a busy machine hits them alike; the median counts.
"""

from __future__ import annotations

import argparse
import io
import json
from collections.abc import Callable
from statistics import median
from time import perf_counter

import numpy as np
import pandas as pd

from firmware_protocol.messages import REPORT_FIELDS, REPORT_LENGTH, Report, encode_report
from firmware_protocol.vectorized import REPORT_DTYPE, decode_reports

DECODE, CSV_TEXT, CSV_NUMBERS = "verified decode", "read_csv, hex as str", "read_csv, decimal as unsigned integers"


def sample_reports(count: int, seed: int = 7) -> list[Report]:
    """Reports of a plausible run at 10 Hz: flow near 70 pulses/s, wheel near 9 pulses/s, noisy pressure."""
    rng = np.random.default_rng(seed)
    clock = (np.arange(count) * 100_000 + 4_200_000_000) % 2**32
    flow, wheel = np.cumsum(rng.poisson(7, count)), np.cumsum(rng.poisson(0.9, count))
    flow_edge, wheel_edge = (clock - rng.integers(0, 14_000, count)), (clock - rng.integers(0, 99_000, count))
    mean = rng.integers(8_000, 8_400, count)
    columns = (
        np.full(count, 3), np.arange(count) % 65_536, clock, flow, flow_edge % 2**32, wheel, wheel_edge % 2**32,
        mean, mean // 16 - 9, mean // 16 + 11, np.ones(count, dtype=int), np.zeros(count, dtype=int),
        np.zeros(count, dtype=int),
    )  # fmt: skip
    return [Report(*row) for row in np.column_stack(columns).tolist()]


def contestants(lines: int) -> dict[str, Callable[[], int]]:
    """Name → function that reads all lines once and returns how many rows it got."""
    reports = sample_reports(lines)
    wire = b"\n".join(map(encode_report, reports)) + b"\n"
    table = np.frombuffer(wire, dtype=np.uint8).reshape(-1, REPORT_LENGTH + 1)[:, :REPORT_LENGTH]
    decoded, sound = decode_reports(table)
    assert sound.all()
    assert decoded.dtype.names is not None
    names = decoded.dtype.names
    decimal = pd.DataFrame({name: decoded[name] for name in names}).to_csv(index=False, header=False, sep=" ").encode()
    text_columns = len(REPORT_FIELDS)  # "R" + boot in one, the two dropped counts in one, the checksum

    def decode() -> int:
        return int(decode_reports(table)[1].sum())

    def csv_text() -> int:
        return len(pd.read_csv(io.BytesIO(wire), sep=" ", header=None, dtype=dict.fromkeys(range(text_columns), "str")))

    def csv_numbers() -> int:
        types = {i: REPORT_DTYPE[name] for i, name in enumerate(names)}
        return len(pd.read_csv(io.BytesIO(decimal), sep=" ", header=None, dtype=types))

    return {DECODE: decode, CSV_TEXT: csv_text, CSV_NUMBERS: csv_numbers}


def measure(lines: int, repeats: int) -> dict[str, float]:
    """Median rows a second of each contestant."""
    runners = contestants(lines)
    seconds: dict[str, list[float]] = {name: [] for name in runners}
    for _ in range(repeats):
        for name, run in runners.items():
            start = perf_counter()
            rows = run()
            seconds[name].append(perf_counter() - start)
            assert rows == lines
    return {name: lines / median(times) for name, times in seconds.items()}


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=200_000)
    parser.add_argument("--repeats", type=int, default=7)
    parser.add_argument("--json", action="store_true", help="print the figures for a machine")
    args = parser.parse_args()
    rates = measure(args.lines, args.repeats)
    ratios = {name: rates[DECODE] / rates[name] for name in (CSV_TEXT, CSV_NUMBERS)}
    if args.json:
        print(json.dumps({"lines": args.lines, "rows_per_s": rates, "decode_over": ratios}, indent=1))
        return
    for name, rate in rates.items():
        ratio = f"   decode is {ratios[name]:.2f} times as fast" if name in ratios else ""
        print(f"{name:42} {rate / 1e6:6.2f} million rows/s{ratio}")


if __name__ == "__main__":
    main()
