"""The emulated board: pins in, lines of the wire out, host commands obeyed. PROTOCOL.md is what it is held to."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zlib import crc32

import numpy as np
import numpy.typing as npt

from firmware_protocol import messages
from firmware_protocol.messages import (
    Ack,
    Capability,
    Command,
    CommandError,
    FilterRule,
    Flag,
    Hardware,
    Identity,
    Refusal,
    State,
)
from firmware_protocol.vectorized import REPORT_DTYPE
from host.frames import WRAP
from host.simulate.commands import CommandReader
from host.simulate.disturbances import Disturbance
from host.simulate.edge_counter import EdgeCounter
from host.simulate.noise import grid
from host.simulate.settings import BoardSettings
from host.simulate.sprayer import Block

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Reports = npt.NDArray[np.void]

FIRMWARE = "1.1-sim"
_WHEEL_FILTER_US = 400  # as the firmware has it: atmega328p/edges.c
_SUPPLY_MV, _SUPPLY_LOW_MV = 5000, 4100
_IDENTITY_EVERY_S = 60.0
_FIRST_STATE_S = messages.STATE_EVERY_S + 0.003  # between two reports, not together with one
_ANSWER_S = 0.002  # the board is done with a command after this
LINE_S = messages.MAX_LINE * 10 / messages.BAUD  # a report on its way: start and stop bit with each byte


@dataclass(frozen=True)
class Sent:
    """What the board sent, in order of time: reports, and other lines each placed before the report of that index."""

    at_s: Floats  # when the report was closed, s from the start of the run, shape (n,)
    held_until_s: Floats  # when it could go out: later than `at_s` while the output was blocked, shape (n,)
    reports: Reports  # of REPORT_DTYPE, shape (n,)
    others: list[tuple[int, float, bytes]]  # (index of the next report, time s, line)


class _Samples:
    """Converter samples and input levels that no report has used yet."""

    def __init__(self) -> None:
        self.t: Floats = np.empty(0)
        self.adc: Ints = np.empty(0, dtype=np.int64)
        self.flags: Ints = np.empty(0, dtype=np.int64)

    def push(self, block: Block) -> None:
        flags = np.where(block.switch, int(Flag.SPRAY), 0) + np.where(block.supply_low, int(Flag.SUPPLY_LOW), 0)
        self.t = np.concatenate([self.t, block.sample_s])
        self.adc = np.concatenate([self.adc, block.adc])
        self.flags = np.concatenate([self.flags, flags])

    def read(self, at_s: Floats) -> tuple[Ints, Ints, Ints, Ints]:
        """Mean (sixteenths), least and greatest count and the input flags of the frames that end at `at_s`."""
        ends = np.searchsorted(self.t, at_s, side="right")
        starts = np.concatenate([[0], ends[:-1]])  # the shortest frame holds three samples
        total = np.concatenate([[0], np.cumsum(self.adc)])
        mean = ((total[ends] - total[starts]) * messages.MEAN_STEPS) // (ends - starts)
        used = self.adc[: int(ends[-1])]
        least, greatest = np.minimum.reduceat(used, starts), np.maximum.reduceat(used, starts)
        flags = self.flags[ends - 1]
        self._drop(int(ends[-1]))
        return mean, least, greatest, flags

    def level(self, at_s: float) -> int:
        """The input flags at `at_s`; 0 before the first sample that is still there."""
        place = int(np.searchsorted(self.t, at_s, side="right"))
        return int(self.flags[place - 1]) if place else 0

    def restart(self, at_s: float) -> None:
        """Forget everything up to `at_s`: the board was off."""
        self._drop(int(np.searchsorted(self.t, at_s, side="right")))

    def _drop(self, done: int) -> None:
        self.t, self.adc, self.flags = self.t[done:], self.adc[done:], self.flags[done:]


class EmulatedBoard:
    """Counts, samples and reports.

    `next_block` gives what the pins see, block after block, None when the run is over. `resets` and `stalls` are the
    scenario's disturbances of these kinds in absolute time, `failures` those in which it does not count. The board's
    clock runs at its own rate from its own start.
    """

    def __init__(
        self,
        settings: BoardSettings,
        capabilities: Capability,
        next_block: Callable[[], Block | None],
        resets: list[Disturbance],
        stalls: list[Disturbance],
        failures: Mapping[str, Sequence[Disturbance]] | None = None,
    ) -> None:
        self._settings, self._capabilities, self._next_block = settings, capabilities, next_block
        self._resets, self._stalls = list(resets), stalls
        self._rate = 1.0 + settings.clock_error
        failures = failures or {}
        self._flow = EdgeCounter(round(settings.flow_filter_s * 1e6), failures.get("flow", ()))
        self._wheel = EdgeCounter(_WHEEL_FILTER_US, failures.get("wheel", ()))
        self._left = [0, 0]  # the highest counts of flow and wheel that have left the board
        self._samples = _Samples()
        self._known_s = 0.0  # how far the pins are known
        self._over = False
        self._commands = CommandReader()
        self._boot = settings.boot
        self._cause = "P"
        self._start(0.0, settings.start_clock_us)

    def _start(self, at_s: float, clock_us: int) -> None:
        """The board begins to run at `at_s`."""
        self._begin_s, self._clock_us = at_s, clock_us
        self._interval_ms = self._settings.interval_ms
        self._sequence = 0
        self._lines_dropped = 0
        self._anchor_s, self._since_anchor = at_s, 0  # reports are due every interval from here
        self._identity_due_s, self._state_due_s = at_s, at_s + _FIRST_STATE_S / self._rate
        self._output_until_s = 0.0

    @property
    def over(self) -> bool:
        """Whether the run has ended and nothing more will come."""
        return self._over

    @property
    def interval_s(self) -> float:
        """Time between reports, by the run's clock."""
        return self._interval_ms * 1e-3 / self._rate

    @property
    def _reported_s(self) -> float:
        """When the last report was closed; before the first, when the board started."""
        return self._anchor_s + self._since_anchor * self.interval_s

    def next_due_s(self) -> float:
        """When the next report will be closed."""
        return self._anchor_s + (self._since_anchor + 1) * self.interval_s

    def advance(self, until_s: float) -> Sent:
        """Everything the board sends up to `until_s`, which must not go back."""
        parts: list[Sent] = []
        while True:
            stop_s = min(until_s, self._resets[0].at_s if self._resets else until_s)
            self._learn(stop_s)
            stop_s = min(stop_s, self._known_s)
            parts.append(self._report_until(stop_s))
            if self._resets and self._known_s >= self._resets[0].at_s <= until_s:
                self._restart(self._resets.pop(0))
                continue
            return _joined(parts)

    def _learn(self, until_s: float) -> None:
        while self._known_s < until_s and not self._over:
            block = self._next_block()
            if block is None:
                self._over = True
                return
            self._flow.push(block.flow_edges_s)
            self._wheel.push(block.wheel_edges_s)
            self._samples.push(block)
            self._known_s = block.end_s

    def _restart(self, reset: Disturbance) -> None:
        up_s = reset.end_s
        self._learn(up_s)
        for counter, left in zip((self._flow, self._wheel), self._left, strict=True):
            counter.restart(up_s, counter.counted(reset.at_s) - left if self._settings.keeps_counts else 0)
        self._left = [0, 0]
        self._samples.restart(up_s)
        self._boot = (self._boot + 1) % 256
        self._cause = "W"
        self._start(up_s, 0)

    def _report_until(self, until_s: float) -> Sent:
        if until_s < self._begin_s:
            return Sent(np.empty(0), np.empty(0), np.empty(0, dtype=REPORT_DTYPE), [])
        step, done = self.interval_s, self._since_anchor
        count = max(int((until_s - self._anchor_s) / step + 1e-9) - done, 0)
        at_s = self._anchor_s + grid(step, done + 1, count)
        others = self._identities(at_s, until_s)
        if not count:
            return Sent(at_s, at_s, np.empty(0, dtype=REPORT_DTYPE), others)
        reports = self._reports(at_s)
        self._since_anchor += count
        held, dropped = self._stalled(at_s)
        reports["lines_dropped"] = (self._lines_dropped + np.cumsum(dropped)) % 256
        self._lines_dropped += int(dropped.sum())
        sent = ~dropped
        if sent.any():
            last = reports[sent][-1]
            self._left = [int(last["flow_count"]), int(last["wheel_count"])]
        places = np.concatenate([[0], np.cumsum(sent)])
        others = [(int(places[place]), due, line) for place, due, line in others]
        return Sent(at_s[sent], held[sent], reports[sent], others)

    def _identities(self, at_s: Floats, until_s: float) -> list[tuple[int, float, bytes]]:
        lines: list[tuple[int, float, bytes]] = []
        while (due_s := min(self._identity_due_s, self._state_due_s)) <= until_s:
            if self._over and due_s >= self._known_s:
                break
            place = int(np.searchsorted(at_s, due_s))
            if due_s == self._identity_due_s:
                lines += [(place, due_s, line) for line in self._introduction(due_s)]
                self._identity_due_s += _IDENTITY_EVERY_S / self._rate
            else:
                lines.append((place, due_s, messages.encode_state(self.state(due_s))))
                self._state_due_s += messages.STATE_EVERY_S / self._rate
        return lines

    def _introduction(self, at_s: float) -> list[bytes]:
        """The identity line and the two that follow it."""
        hardware = Hardware(self._boot, crc32(self._settings.name.encode()), "simulated")
        lines = messages.encode_identity(self.identity()), messages.encode_hardware(hardware)
        return [*lines, messages.encode_state(self.state(at_s))]

    def state(self, at_s: float) -> State:
        """What the board knows of its inputs and its supply at `at_s`."""
        now = np.array([at_s])
        inputs = (
            (counter.refused(at_s) % WRAP, int(counter.dropped(now)[0]) % 2**16, int(counter.rule), counter.filter_us)
            for counter in (self._flow, self._wheel)
        )
        flow, wheel = inputs
        supply = _SUPPLY_LOW_MV if self._samples.level(at_s) & Flag.SUPPLY_LOW else _SUPPLY_MV
        return State(self._boot, int(self._clock(np.array([at_s]))[0]), *flow, *wheel, supply)

    def identity(self) -> Identity:
        """Who the board is."""
        return Identity(
            self._boot,
            messages.PROTOCOL_VERSION,
            self._settings.name,
            FIRMWARE,
            self._settings.adc_full_scale,
            self._interval_ms,
            int(self._capabilities),
            self._cause,
        )

    def _clock(self, at_s: Floats) -> Ints:
        ticks = np.floor((at_s - self._begin_s) * self._rate * 1e6).astype(np.int64)
        return np.asarray((self._clock_us + ticks) % WRAP)

    def _reports(self, at_s: Floats) -> Reports:
        reports = np.zeros(len(at_s), dtype=REPORT_DTYPE)
        reports["boot"] = self._boot
        reports["seq"] = (self._sequence + np.arange(len(at_s))) % 2**16
        self._sequence += len(at_s)
        reports["clock"] = self._clock(at_s)
        flags = np.zeros(len(at_s), dtype=np.int64)
        inputs = ((self._flow, "flow", Flag.FLOW_GLITCH), (self._wheel, "wheel", Flag.WHEEL_GLITCH))
        for counter, name, glitch in inputs:
            counts, last_s, refused = counter.read(self._reported_s, at_s)
            reports["edges_dropped"] += (counter.dropped(at_s) % 256).astype(np.uint8)
            if not self._capabilities & Capability[name.upper()]:
                continue
            reports[f"{name}_count"] = counts % WRAP
            reports[f"{name}_edge"] = np.where(last_s > 0, self._clock(np.maximum(last_s, self._begin_s)), 0)
            flags += np.where(refused, int(glitch), 0)
        mean, least, greatest, levels = self._samples.read(at_s)
        if self._capabilities & Capability.PRESSURE:
            reports["pressure_mean"], reports["pressure_min"], reports["pressure_max"] = mean, least, greatest
        flags += levels if self._capabilities & Capability.SWITCH else levels & ~int(Flag.SPRAY)
        flags += int(Flag.UNPLANNED_RESET) if self._cause in "WB" else 0
        flags += np.where(at_s < self._output_until_s, int(Flag.OUTPUT_ON), 0)
        reports["flags"] = flags
        return reports

    def _stalled(self, at_s: Floats) -> tuple[Floats, Bools]:
        """When each report could go out, and which found the buffer full."""
        held, dropped = at_s.copy(), np.zeros(len(at_s), dtype=np.bool_)
        for stall in self._stalls:
            inside = (at_s >= stall.at_s) & (at_s < stall.end_s)
            # Place in the buffer, counted from the stall's beginning however the reports are asked for.
            place = np.floor((at_s - stall.at_s) / self.interval_s)
            held[inside] = stall.end_s
            dropped |= inside & (place >= self._settings.buffer_lines)
        return held, dropped

    def receive(self, data: bytes, at_s: float) -> list[tuple[float, bytes]]:
        """Bytes from the host at `at_s`: what the board answers, with the times (s)."""
        if at_s < self._begin_s:
            return []  # the board is down
        return [(at_s + _ANSWER_S, reply) for line in self._commands.push(data) for reply in self._answers(line, at_s)]

    def _answers(self, line: bytes, at_s: float) -> list[bytes]:
        try:
            command = messages.decode_command(line)
        except CommandError as error:
            return [messages.encode_reply(error.reply)]
        if command.letter == "q":
            identity, *rest = self._introduction(at_s)
            return [identity, messages.encode_reply(Ack(command.tag, "q", 0)), *rest]
        before = self._in_force()
        reply = messages.encode_reply(self._carry_out(command, at_s))
        return [reply, *(self._introduction(at_s) if self._in_force() != before else [])]

    def _in_force(self) -> tuple[int, ...]:
        inputs = self._flow, self._wheel
        return (self._interval_ms, *(part for one in inputs for part in (one.rule, one.filter_us)))

    def _carry_out(self, command: Command, at_s: float) -> Ack | Refusal:
        value = command.argument
        if command.letter == "p":
            value = int(self._clock(np.array([at_s]))[0])
        elif command.letter == "n":
            self._anchor_s, self._since_anchor = self._reported_s, 0
            self._interval_ms = value
        elif command.letter == "f":
            if not self._capabilities & messages.FILTER_INPUTS[value >> 20]:
                return Refusal(command.tag, 0x05)
            counter = self._flow if messages.FILTER_INPUTS[value >> 20] is Capability.FLOW else self._wheel
            counter.set_filter(FilterRule(value >> 16 & 0xF), value & 0xFFFF, at_s)
        elif not self._fitted(value):
            return Refusal(command.tag, 0x05)
        else:
            self._drive_output(value, at_s)
        return Ack(command.tag, command.letter, value)

    def _fitted(self, argument: int) -> bool:
        buzzer, light = argument >> 20 & 0xF, argument >> 16 & 0xF
        return not (buzzer and not self._capabilities & Capability.BUZZER) and not (
            light and not self._capabilities & Capability.LIGHT
        )

    def _drive_output(self, argument: int, at_s: float) -> None:
        tenths = argument & 0xFFFF
        if argument >> 16 == 0:
            self._output_until_s = 0.0
        else:
            self._output_until_s = at_s + tenths / 10 if tenths else float("inf")


def _joined(parts: list[Sent]) -> Sent:
    if len(parts) == 1:
        return parts[0]
    others: list[tuple[int, float, bytes]] = []
    before = 0
    for part in parts:
        others += [(place + before, due, line) for place, due, line in part.others]
        before += len(part.reports)

    def every(name: str) -> Any:
        return np.concatenate([getattr(part, name) for part in parts])

    return Sent(every("at_s"), every("held_until_s"), every("reports"), others)
