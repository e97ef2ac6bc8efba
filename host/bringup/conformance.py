"""Whether a board answers as PROTOCOL.md, section 7, asks: right commands, wrong ones, and garbage."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

from firmware_protocol.messages import (
    DEFAULT_INTERVAL_MS,
    INTERVAL_RANGE_MS,
    MAX_COMMAND,
    REFUSALS,
    Ack,
    Capability,
    Hardware,
    Identity,
    Refusal,
    Report,
    outputs_argument,
    seal,
)
from host.bringup.board_session import Bench, Exchange
from host.bringup.findings import Finding, Grade, judge
from host.bringup.listening import AT_REST, listening_findings, resting_rates
from host.frames import counter_difference

REPLY_S = 0.1  # PROTOCOL.md, section 8
_FOLLOWS_S = 0.3  # hardware and state follow the identity line
_ON_THE_WAY_S = 0.05  # a USB serial converter and this computer may add that much
_BAD, _UNKNOWN, _VALUE, _LONG, _NOT_FITTED = 0x01, 0x02, 0x03, 0x04, 0x05


@dataclass(frozen=True, slots=True)
class Listened:
    """Who the board is, what was found in what it sends by itself, pulses a second of untouched inputs."""

    identity: Identity | None
    hardware: Hardware | None
    findings: list[Finding]
    rest_hz: dict[str, float]


def listen(bench: Bench, seconds: float, filters: Sequence[int] = (), at_rest: float = AT_REST) -> Listened:
    """Ask who the board is, set the filters of its inputs, then judge what it sends by itself for `seconds`."""
    bench.ask("n", DEFAULT_INTERVAL_MS)
    exchange = bench.ask("q")
    identities = [line.message for line in exchange.heard if isinstance(line.message, Identity)]
    identity = identities[-1] if identities else None
    after = exchange.heard + bench.hear_for(_FOLLOWS_S)
    found = list(_set_filters(bench, filters))
    heard = bench.ask("q").heard + bench.hear_for(seconds)
    heard += bench.ask("q").heard + bench.hear_for(_FOLLOWS_S)  # the state as listening began, and as it ended
    hardware = next((line.message for line in after if isinstance(line.message, Hardware)), None)
    findings = [*found, *listening_findings(heard, identity, DEFAULT_INTERVAL_MS, at_rest)]
    return Listened(identity, hardware, findings, resting_rates(heard))


def _set_filters(bench: Bench, filters: Sequence[int]) -> Iterator[Finding]:
    """A board of version 1.0 cannot; that matters only where its own filter would not do."""
    for argument in filters:
        exchange = bench.ask("f", argument)
        if not isinstance(exchange.reply, Ack) and argument >> 16 & 0xF:
            yield Finding(
                Grade.BAD,
                "input filter",
                f"{_words(exchange)}: this board counts each closing of a contact several times; load firmware 1.1",
            )


def folded(findings: Iterable[Finding]) -> list[Finding]:
    """Checks of the protocol in one line if all are good; else those that are not."""
    findings = list(findings)
    rest = [finding for finding in findings if finding.grade is not Grade.GOOD]
    if rest:
        return rest
    return [
        Finding(Grade.GOOD, "protocol", f"{len(findings)} commands, right and wrong ones, answered as they should be")
    ]


def conformance(bench: Bench, identity: Identity | None) -> Iterator[Finding]:
    """Put the board through every kind of command; it is left at the default interval with its outputs off."""
    yield _acknowledged("identify", _prompt(lambda: bench.ask("q")), 0)
    yield _clock_of_ping(bench)
    yield from _intervals(bench)
    yield from _refused_commands(bench)
    yield from _outputs(bench, identity)
    yield from _garbage(bench)


def _acknowledged(what: str, exchange: Exchange, value: int) -> Finding:
    reply = exchange.reply
    if not isinstance(reply, Ack):
        return Finding(Grade.BAD, what, _words(exchange))
    if reply.value != value:
        return Finding(Grade.BAD, what, f"acknowledged with {reply.value}, not {value}")
    return _in_time(what, exchange)


def _prompt(ask: Callable[[], Exchange]) -> Exchange:
    """The exchange; if its answer came late, the quickest of three: the computer may have been busy."""
    exchanges = [ask()]
    while exchanges[-1].took_s > REPLY_S + _ON_THE_WAY_S and len(exchanges) < 3:
        exchanges.append(ask())
    return min(exchanges, key=lambda exchange: (exchange.reply is None, exchange.took_s))


def _in_time(what: str, exchange: Exchange) -> Finding:
    took = f"answered in {exchange.took_s * 1000:.0f} ms"
    return judge(exchange.took_s <= REPLY_S + _ON_THE_WAY_S, what, took)


def _words(exchange: Exchange) -> str:
    if exchange.reply is None:
        return "no answer"
    if isinstance(exchange.reply, Refusal):
        return f"refused: {REFUSALS.get(exchange.reply.code, f'code {exchange.reply.code:02X}')}"
    return f"acknowledged with {exchange.reply.value}"


def _clock_of_ping(bench: Bench) -> Finding:
    exchange = _prompt(lambda: bench.ask("p"))
    after = [line.message for line in bench.hear_for(0.5) if isinstance(line.message, Report)]
    if not isinstance(exchange.reply, Ack) or not after:
        return Finding(Grade.BAD, "ping", _words(exchange))
    ahead = counter_difference(after[-1].clock, exchange.reply.value)
    if ahead > 1_000_000:
        return Finding(Grade.BAD, "ping", f"its clock, {exchange.reply.value}, is not that of the reports")
    return _in_time("ping", exchange)


def _intervals(bench: Bench) -> Iterator[Finding]:
    low, high = INTERVAL_RANGE_MS
    for interval in (low, high, DEFAULT_INTERVAL_MS):
        what = f"interval {interval} ms"
        exchange = bench.ask("n", interval)
        if not isinstance(exchange.reply, Ack) or exchange.reply.value != interval:
            yield Finding(Grade.BAD, what, _words(exchange))
            continue
        heard = bench.hear_for(max(0.5, 3.5 * interval / 1000))
        reports = [line.message for line in heard if isinstance(line.message, Report)]
        in_a_row = [(a, b) for a, b in pairwise(reports) if (b.seq - a.seq) % 2**16 == 1]
        gaps = [counter_difference(b.clock, a.clock) / 1000 for a, b in in_a_row]
        worst = max((abs(gap - interval) for gap in gaps), default=None)
        if worst is None:
            yield Finding(Grade.BAD, what, "acknowledged, but no two reports in a row came")
        else:
            yield judge(worst <= 5, what, f"kept to {worst:.2f} ms over {len(gaps)} reports")


def _refused_commands(bench: Bench) -> Iterator[Finding]:
    low, high = INTERVAL_RANGE_MS
    for interval in (low - 1, high + 1):
        yield _refused(f"interval {interval} ms", _prompt(partial(bench.ask, "n", interval)), _VALUE)
    wrong = {
        "unknown command": ("z51", 0x51, _UNKNOWN),
        "value where none belongs": ("p52 00", 0x52, _VALUE),
        "value left out": ("n53", 0x53, _VALUE),
        "value in small letters": ("n54 00fa", 0x54, _VALUE),
        "value one digit short": ("n55 064", 0x55, _VALUE),
    }
    for what, (body, tag, code) in wrong.items():
        yield _refused(what, _prompt(partial(bench.ask_raw, seal(body), tag)), code)
    good = seal("p56")
    spoilt = good[:-1] + (b"0" if good[-1:] != b"0" else b"1")
    yield _refused("wrong checksum", _prompt(partial(bench.ask_raw, spoilt, 0)), _BAD)
    yield _refused("line too long", _prompt(partial(bench.ask_raw, seal("p57" + " " * MAX_COMMAND), 0)), _LONG)
    silent = bench.ask_raw(b"\r", 0, patience_s=0.4)
    yield judge(silent.reply is None, "empty line", "passed over" if silent.reply is None else _words(silent))


def _refused(what: str, exchange: Exchange, code: int) -> Finding:
    if isinstance(exchange.reply, Refusal) and exchange.reply.code == code:
        return _in_time(f"{what}: refused", exchange)
    return Finding(Grade.BAD, f"{what}: refused", f"{_words(exchange)}; should be refused: {REFUSALS[code]}")


def _outputs(bench: Bench, identity: Identity | None) -> Iterator[Finding]:
    if identity is None:
        return
    off = outputs_argument(0, 0, 0)
    parts = {"buzzer": (Capability.BUZZER, 1, 0), "light": (Capability.LIGHT, 0, 1)}
    for name, (capability, buzzer, light) in parts.items():
        argument = outputs_argument(buzzer, light, 2)
        exchange = _prompt(partial(bench.ask, "o", argument))
        if identity.capabilities & capability:
            yield _acknowledged(f"{name} on for 0.2 s", exchange, argument)
        else:
            yield _refused(f"{name}, which is not fitted", exchange, _NOT_FITTED)
    yield _refused("pattern 4", _prompt(partial(bench.ask, "o", outputs_argument(4, 0, 1))), _VALUE)
    yield _acknowledged("outputs off", _prompt(partial(bench.ask, "o", off)), off)


def _garbage(bench: Bench) -> Iterator[Finding]:
    for start in range(0, 256, 64):
        bench.send(bytes(range(start, start + 64)))
        bench.hear()
    bench.send(b"\n")
    heard = bench.hear_for(1.0)
    reports = [line.message for line in heard if isinstance(line.message, Report)]
    damaged = sum(bool(line.fault) for line in heard)
    # How many come in a second of this computer says nothing: it may have been busy. None may be missing.
    steady = len(reports) >= 2 and all((b.seq - a.seq) % 2**16 == 1 for a, b in pairwise(reports)) and not damaged
    steady = steady and len({report.boot for report in reports}) == 1
    yield judge(
        steady, "256 bytes of garbage", f"{len(reports)} reports and {damaged} damaged lines in the second after"
    )
    yield _acknowledged("still listening", _prompt(lambda: bench.ask("q")), 0)
