"""Whether what a board says by itself is what PROTOCOL.md asks of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

import numpy as np

from firmware_protocol.messages import BAUD, MEAN_STEPS, Capability, Flag, Identity, Report
from host.bringup.board_session import Heard
from host.bringup.findings import Finding, Grade, judge
from host.frames import WRAP, counter_difference

PACE_SLACK_US = 5_000  # PROTOCOL.md, section 8
CLOCK_GOOD_TO = 0.005  # PROTOCOL.md, section 9
_CLOCK_NEEDS_S = 5.0


def listening_findings(heard: Sequence[Heard], identity: Identity | None, interval_ms: int) -> list[Finding]:
    """Judge the lines heard while the board was left alone; the first may be half a line, as the port was opened."""
    whole = heard[1:] if heard and heard[0].fault else heard
    reports = [line for line in whole if isinstance(line.message, Report)]
    findings = [_clean(whole), _identity(identity)]
    if len(reports) < 2:
        return [*findings, Finding(Grade.BAD, "reports", f"{len(reports)} came: the board does not report by itself")]
    pairs = [(a, b) for a, b in pairwise(_reports(reports)) if a.boot == b.boot]
    findings += [_starts(reports), _sequence(pairs), _pace(pairs, interval_ms), _clock(reports)]
    for name in ("flow", "wheel"):
        findings.append(_edges(pairs, name))
    findings += [_pressure(_reports(reports), identity), _flags(_reports(reports), identity), _drops(pairs)]
    return findings


def _reports(lines: Iterable[Heard]) -> list[Report]:
    return [line.message for line in lines if isinstance(line.message, Report)]


def _clean(heard: Sequence[Heard]) -> Finding:
    damaged = [line for line in heard if line.fault]
    if not damaged:
        return Finding(Grade.GOOD, "lines", f"{len(heard)} came, every one under a right checksum")
    first = damaged[0]
    return Finding(
        Grade.BAD,
        "lines",
        f"{len(damaged)} of {len(heard)} damaged, the first ({first.fault}): {first.raw[:80]!r}; check cable, ground "
        f"and that both sides run at {BAUD} baud",
    )


def _identity(identity: Identity | None) -> Finding:
    if identity is None:
        return Finding(Grade.BAD, "identity", "none came, not even when asked")
    fitted = ", ".join((bit.name or "").lower() for bit in Capability if identity.capabilities & bit)
    return Finding(
        Grade.GOOD,
        "identity",
        f"{identity.name}, firmware {identity.firmware}, protocol {identity.protocol}, fitted: {fitted or 'nothing'}",
    )


def _starts(reports: Sequence[Heard]) -> Finding:
    boots = [boot for boot, _ in _runs(report.boot for report in _reports(reports))]
    seen = "none" if len(boots) == 1 else f"{len(boots) - 1}: look for a loose supply wire or a watchdog reset"
    return judge(len(boots) == 1, "resets while listening", seen)


def _runs(values: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Each stretch of equal values: the value and its length."""
    from itertools import groupby

    for value, group in groupby(values):
        yield value, sum(1 for _ in group)


def _sequence(pairs: Sequence[tuple[Report, Report]]) -> Finding:
    missing = sum((b.seq - a.seq - 1) % 2**16 for a, b in pairs)
    return judge(missing == 0, "sequence", f"{missing} reports missing" if missing else "no report missing")


def _pace(pairs: Sequence[tuple[Report, Report]], interval_ms: int) -> Finding:
    gaps = np.array([counter_difference(b.clock, a.clock) for a, b in pairs if (b.seq - a.seq) % 2**16 == 1])
    if len(gaps) == 0:
        return Finding(Grade.BAD, "pace", "no two reports in a row came")
    worst = float(np.abs(gaps - interval_ms * 1000).max())
    seen = f"one each {gaps.mean() / 1000:.2f} ms, at most {worst / 1000:.2f} ms off (asked for: {interval_ms} ms)"
    return judge(worst <= PACE_SLACK_US, "pace", seen)


def _clock(reports: Sequence[Heard]) -> Finding:
    """Board seconds per host second, by a straight line through all reports."""
    stamps = np.array([line.stamp_s for line in reports])
    clocks = np.unwrap(np.array([report.clock for report in _reports(reports)], dtype=float), period=WRAP) / 1e6
    if np.ptp(stamps) < _CLOCK_NEEDS_S:
        return Finding(Grade.NOTE, "board clock", "listen longer to judge it")
    error = float(np.polyfit(stamps - stamps[0], clocks - clocks[0], 1)[0]) - 1
    seen = f"{abs(error):.2%} {'fast' if error > 0 else 'slow'} against this computer"
    return judge(abs(error) <= CLOCK_GOOD_TO, "board clock", seen, Grade.NOTE)


def _edges(pairs: Sequence[tuple[Report, Report]], name: str) -> Finding:
    what = f"{name} count and edge time"
    for before, after in pairs:
        pulses = counter_difference(getattr(after, f"{name}_count"), getattr(before, f"{name}_count"))
        edge_before, edge = getattr(before, f"{name}_edge"), getattr(after, f"{name}_edge")
        where = f"report {after.seq}: "
        if pulses >= WRAP // 2:
            return Finding(Grade.BAD, what, where + "the count went back")
        if pulses == 0 and edge != edge_before:
            return Finding(Grade.BAD, what, where + "the edge time changed without a pulse")
        if pulses and edge == edge_before:
            return Finding(Grade.BAD, what, where + "pulses came, but the edge time stayed")
        if pulses and counter_difference(after.clock, edge) >= WRAP // 2:
            return Finding(Grade.BAD, what, where + "the edge time lies after the report's clock")
    total = sum(counter_difference(getattr(b, f"{name}_count"), getattr(a, f"{name}_count")) for a, b in pairs)
    return Finding(Grade.GOOD, what, f"agree; {total} pulses while listening")


def _pressure(reports: Sequence[Report], identity: Identity | None) -> Finding:
    full = identity.adc_full_scale if identity else 4095
    for r in reports:
        if not r.pressure_min * MEAN_STEPS <= r.pressure_mean <= r.pressure_max * MEAN_STEPS:
            return Finding(Grade.BAD, "pressure", f"report {r.seq}: the mean lies outside lowest and highest reading")
        if r.pressure_max > full:
            return Finding(Grade.BAD, "pressure", f"report {r.seq}: {r.pressure_max} is more than full scale, {full}")
    mean = sum(r.pressure_mean for r in reports) / len(reports) / MEAN_STEPS
    return Finding(Grade.GOOD, "pressure", f"{mean:.1f} of {full} counts, {mean / full:.1%} of the supply")


def _flags(reports: Sequence[Report], identity: Identity | None) -> Finding:
    known = 0
    for flag in Flag:
        known |= flag
    unknown = {r.flags & ~known for r in reports} - {0}
    if unknown:
        return Finding(Grade.NOTE, "flags", f"bits this version does not know: {sorted(unknown)}")
    if identity and not identity.capabilities & Capability.SWITCH and any(r.flags & Flag.SPRAY for r in reports):
        return Finding(Grade.BAD, "flags", "the spray switch shows closed, yet the board says that none is fitted")
    told = {
        Flag.SUPPLY_LOW: "the board's supply is too low",
        Flag.FLOW_GLITCH: "glitches on the flow input: check shield, pull-up and filter",
        Flag.WHEEL_GLITCH: "glitches on the wheel input: check shield, pull-up and filter",
        Flag.UNPLANNED_RESET: "the last start was a watchdog or brown-out reset",
    }
    seen = [text for flag, text in told.items() if any(r.flags & flag for r in reports)]
    return judge(not seen, "flags", "; ".join(seen) or "nothing unusual", Grade.NOTE)


def _drops(pairs: Sequence[tuple[Report, Report]]) -> Finding:
    edges = sum((b.edges_dropped - a.edges_dropped) % 256 for a, b in pairs)
    lines = sum((b.lines_dropped - a.lines_dropped) % 256 for a, b in pairs)
    return judge(edges == lines == 0, "dropped by the board", f"{edges} pulses, {lines} lines")
