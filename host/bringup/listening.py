"""Whether what a board says by itself is what PROTOCOL.md asks of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby, pairwise

import numpy as np

from firmware_protocol.messages import BAUD, MEAN_STEPS, Capability, Flag, Identity, Report, State
from host.bringup.board_session import Heard
from host.bringup.findings import Finding, Grade, judge
from host.documents.words import percent
from host.frames import WRAP, counter_difference

PACE_SLACK_US = 5_000  # PROTOCOL.md, section 8
CLOCK_GOOD_TO = 0.005  # PROTOCOL.md, section 9
AT_REST = 0.10  # 0.5 V of 5 V: the usual transducer (common practice)
_REST_SLACK = 0.04
_NEAR_END = 0.02
_QUIET_HZ = 0.2
_CLOCK_NEEDS_S = 5.0


def resting_rates(heard: Sequence[Heard]) -> dict[str, float]:
    """Pulses a second of each input while the board was left alone, by field of the report."""
    pairs = [(a, b) for a, b in pairwise(_reports(heard)) if a.boot == b.boot]
    seconds = sum(counter_difference(b.clock, a.clock) for a, b in pairs) / 1e6
    return {
        name: sum(counter_difference(getattr(b, name), getattr(a, name)) for a, b in pairs) / seconds
        if seconds
        else 0.0
        for name in ("flow_count", "wheel_count")
    }


def listening_findings(
    heard: Sequence[Heard], identity: Identity | None, interval_ms: int, at_rest: float = AT_REST
) -> list[Finding]:
    """Judge the lines heard while the board was left alone; the first may be half a line, as the port was opened.

    `at_rest` is the share of its supply that the transducer gives without pressure.
    """
    whole = heard[1:] if heard and heard[0].fault else heard
    reports = [line for line in whole if isinstance(line.message, Report)]
    findings = [_clean(whole), _identity(identity)]
    if len(reports) < 2:
        return [*findings, Finding(Grade.BAD, "reports", f"{len(reports)} came: the board does not report by itself")]
    pairs = [(a, b) for a, b in pairwise(_reports(reports)) if a.boot == b.boot]
    findings += [_starts(reports), _sequence(pairs), _pace(pairs, interval_ms), _clock(reports)]
    for name in ("flow", "wheel"):
        findings += [_edges(pairs, name), _quiet(resting_rates(reports)[f"{name}_count"], name)]
    states = [line.message for line in whole if isinstance(line.message, State)]
    findings += [_pressure(_reports(reports), identity, at_rest), _flags(_reports(reports), identity), _drops(pairs)]
    return [*findings, *_supply(states, _reports(reports)), *_refused(states)]


def _quiet(rate_hz: float, name: str) -> Finding:
    what = f"{name} input at rest"
    if rate_hz <= _QUIET_HZ:
        return Finding(Grade.GOOD, what, "no pulses while nobody touches anything")
    return Finding(
        Grade.BAD,
        what,
        f"{rate_hz:.1f} pulses a second while nobody touches anything: check its screen, ground and pull-up, and that "
        "its wire does not lie beside the pump's",
    )


def _supply(states: Sequence[State], reports: Sequence[Report]) -> Iterator[Finding]:
    measured = [state.supply for state in states if state.supply]
    low = any(report.flags & Flag.SUPPLY_LOW for report in reports)
    volts = f"{measured[-1] / 1000:.2f} V, as the board measures it (to 10 %)" if measured else "not measured in volts"
    if low:
        mend = "measure 5 V with a meter; a thin USB cable or a regulator that starves gives less"
        yield Finding(Grade.BAD, "supply", f"{volts}: too low for the sensors; {mend}")
    elif measured:
        yield Finding(Grade.GOOD, "supply", volts)


def _refused(states: Sequence[State]) -> Iterator[Finding]:
    if len(states) < 2 or states[0].boot != states[-1].boot:
        return
    for name in ("flow", "wheel"):
        refused = getattr(states[-1], f"{name}_refused") - getattr(states[0], f"{name}_refused")
        if refused % WRAP:
            seen = f"{refused % WRAP} edges refused while listening: check its screen, ground and pull-up"
            yield Finding(Grade.BAD, f"{name} input noise", seen)


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
    """Board seconds per host second, by a straight line through the reports of the longest start."""
    starts = [list(group) for _, group in groupby(reports, key=lambda line: getattr(line.message, "boot", None))]
    reports = max(starts, key=len)
    stamps = np.array([line.stamp_s for line in reports])
    clocks = np.unwrap(np.array([report.clock for report in _reports(reports)], dtype=float), period=WRAP) / 1e6
    if np.ptp(stamps) < _CLOCK_NEEDS_S:
        return Finding(Grade.NOTE, "board clock", "listen longer to judge it")
    error = float(np.polyfit(stamps - stamps[0], clocks - clocks[0], 1)[0]) - 1
    seen = f"{percent(abs(error), 2)} {'fast' if error > 0 else 'slow'} against this computer"
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


def _pressure(reports: Sequence[Report], identity: Identity | None, at_rest: float) -> Finding:
    full = identity.adc_full_scale if identity else 4095
    for r in reports:
        if not r.pressure_min * MEAN_STEPS <= r.pressure_mean <= r.pressure_max * MEAN_STEPS:
            return Finding(Grade.BAD, "pressure", f"report {r.seq}: the mean lies outside lowest and highest reading")
        if r.pressure_max > full:
            return Finding(Grade.BAD, "pressure", f"report {r.seq}: {r.pressure_max} is more than full scale, {full}")
    mean = sum(r.pressure_mean for r in reports) / len(reports) / MEAN_STEPS
    if identity and not identity.capabilities & Capability.PRESSURE:
        return Finding(Grade.GOOD, "pressure", "no transducer is fitted")
    return _pressure_at_rest(mean / full, at_rest)


def _pressure_at_rest(share: float, at_rest: float) -> Finding:
    seen = f"{percent(share, 1)} of the supply; without pressure it should be about {percent(at_rest)}"
    if share < _NEAR_END:
        mend = "no signal; check the transducer's supply, ground and signal wire"
    elif share > 1 - _NEAR_END:
        mend = "the signal lies at the supply; check the transducer's ground and its wires"
    elif abs(share - at_rest) > _REST_SLACK:
        mend = "let the pressure off, or check the signal wire, the divider, and the transducer on the page Rig"
    else:
        return Finding(Grade.GOOD, "pressure", seen)
    return Finding(Grade.BAD, "pressure", f"{seen}: {mend}")


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
