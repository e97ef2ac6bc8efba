"""Runs of the emulated board: what came out, and the truth about what went in."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from firmware_protocol.messages import Command, Identity, LineError, Message, Report, State, decode, encode_command
from tests.firmware_protocol.board_tools import emulate

CYCLES_PER_US = 16


@dataclass
class Seen:
    """What came out of the emulated board, and the truth about what went in."""

    messages: list[Message | None]
    damaged: list[bytes]
    truth: dict[str, float]

    @property
    def reports(self) -> list[Report]:
        return [message for message in self.messages if isinstance(message, Report)]

    @property
    def identities(self) -> list[Identity]:
        return [message for message in self.messages if isinstance(message, Identity)]

    @property
    def states(self) -> list[State]:
        return [message for message in self.messages if isinstance(message, State)]

    def total(self, count: str) -> int:
        """Pulses added up as PROTOCOL.md, section 8, says, from the board's first start on."""
        total = getattr(self.reports[0], count)
        for before, after in pairwise(self.reports):
            new = getattr(after, count)
            total += new if after.boot != before.boot else (new - getattr(before, count)) % 2**32
        return int(total)


def run_board(folder: Path, scenario: str | Path, *options: str, timeout: float = 280) -> Seen:
    """Runs a scenario (its text, with steps in any order, or a file)."""
    if isinstance(scenario, str):
        steps = sorted(scenario.splitlines(), key=lambda line: float(line.split()[0]))
        scenario = "\n".join(steps) + "\n"
    lines = folder / "lines"
    truth = emulate(folder, scenario, "--lines", str(lines), *options, timeout=timeout)
    return _read(lines.read_bytes(), truth)


def _read(data: bytes, truth: dict[str, float]) -> Seen:
    seen = Seen([], [], truth)
    for line in data.split(b"\n")[:-1]:
        if not line:  # a start may begin with one
            continue
        try:
            seen.messages.append(decode(line))
        except LineError:
            seen.damaged.append(line)
    return seen


def send_step(command: Command, at_s: float) -> str:
    """The step of a scenario that sends a command."""
    line = encode_command(command) + b"\n"
    return f"{at_s:.6f} send {line.hex()}\n"


def flood_steps(letter: str, until_s: float) -> str:
    """Steps that send commands as fast as the line takes them, from 0.6 s on; an interval of 20 ms among them."""
    steps, at, tag = send_step(Command("n", 1, 20), 0.55), 0.6, 1
    while letter and at < until_s:
        tag = tag % 255 + 1
        command = Command(letter, tag, {"n": 20 + tag % 2, "o": 0x110005}.get(letter, 0))
        steps += send_step(command, at)
        at += (len(encode_command(command)) + 1) * 10 / 115_200
    return steps
