"""Lines of the wire, by PROTOCOL.md sections 3 to 7. Written with the standard library's CRC alone."""

import binascii
import re
from dataclasses import dataclass

LONGEST_COMMAND = 31  # characters, section 3

FLOW, WHEEL, PRESSURE, SWITCH, BUZZER, LIGHT = 0x01, 0x02, 0x04, 0x08, 0x10, 0x20  # section 6, capabilities
SPRAY, FLOW_GLITCH, WHEEL_GLITCH, UNPLANNED_RESET, SUPPLY_LOW, OUTPUT_ON = 0x01, 0x02, 0x04, 0x08, 0x10, 0x20

DAMAGED, UNKNOWN, WRONG_VALUE, TOO_LONG, NOT_FITTED = 1, 2, 3, 4, 5  # section 6, refusal codes

DIGITS_OF_VALUE = {"q": 0, "p": 0, "n": 4, "o": 6, "f": 6}  # section 7


def checksum(text: bytes) -> int:
    """CRC-16/IBM-3740 (section 4): binascii.crc_hqx is this polynomial, not reflected, with the start value given."""
    return binascii.crc_hqx(text, 0xFFFF)


def line(text: str) -> bytes:
    """`text` with a space, its checksum and a line feed."""
    body = f"{text} ".encode("ascii")
    return body + f"{checksum(body):04X}\n".encode("ascii")


@dataclass(frozen=True)
class Report:
    """One report's fields; whoever makes it sees to the snapshot. Counts and clock are taken modulo their width."""

    boot: int
    seq: int
    clock: int
    flow_count: int
    flow_edge: int
    wheel_count: int
    wheel_edge: int
    pressure: tuple[int, int, int]
    flags: int
    edges_dropped: int
    lines_dropped: int

    def written(self) -> bytes:
        mean, low, high = self.pressure
        counts = (self.clock, self.flow_count, self.flow_edge, self.wheel_count, self.wheel_edge)
        return line(
            f"R{self.boot % 256:02X} {self.seq % 65536:04X} "
            + " ".join(f"{number % 2**32:08X}" for number in counts)
            + f" {mean:04X} {low:03X} {high:03X} {self.flags:02X}"
            + f" {self.edges_dropped % 256:02X}{self.lines_dropped % 256:02X}"
        )


@dataclass(frozen=True)
class Command:
    """A command that came through: its letter, tag and value (None where it has none)."""

    letter: str
    tag: int
    value: str | None


@dataclass(frozen=True)
class Refusal:
    """What is answered to a line that is no command of ours."""

    tag: int
    code: int

    def written(self) -> bytes:
        return line(f"E{self.tag:02X} {self.code:02X}")


_FORM = re.compile(rb"([a-z])([0-9A-F]{2}) (?:([^\n]*) )?[0-9A-F]{4}", re.DOTALL)
_ENDING = re.compile(rb".+ [0-9A-F]{4}", re.DOTALL)


def understood(raw: bytes, letters: str) -> Command | Refusal:
    """A line from the host without its line feed, checked in the order of section 7.

    Checked here: length, checksum, form and letter, and the digits of the value. Ranges are the board's to check.
    """
    text = raw.removesuffix(b"\r")
    form = _FORM.fullmatch(text)
    if len(text) > LONGEST_COMMAND:
        return Refusal(0, TOO_LONG)
    if not _ENDING.fullmatch(text) or checksum(text[:-4]) != int(text[-4:], 16):
        return Refusal(0, DAMAGED)
    if form is None or form[1].decode("ascii") not in letters:
        return Refusal(int(form[2], 16) if form else 0, UNKNOWN)
    letter, tag, value = form[1].decode("ascii"), int(form[2], 16), form[3]
    digits = DIGITS_OF_VALUE[letter]
    if digits == 0 and value is None:
        return Command(letter, tag, None)
    if digits and value is not None and re.fullmatch(rb"[0-9A-F]{%d}" % digits, value):
        return Command(letter, tag, value.decode("ascii"))
    return Refusal(tag, WRONG_VALUE)
