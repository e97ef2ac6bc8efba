"""The lines of the wire, one at a time: what each says, how it is written and read back.

PROTOCOL.md is the specification; this module and `vectors/` are held to it by the tests.
A line is handled here without its final line feed.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import astuple, dataclass
from enum import IntEnum, IntFlag

from firmware_protocol.crc import crc16

PROTOCOL_VERSION = "1.1"
BAUD = 115_200
BAUDS = (BAUD, 250_000)  # the speeds that a board may run at
MAX_LINE = 80  # bytes, the line feed included
MAX_COMMAND = 31  # characters of a host command that a board must be able to take, without the line feed
REPORT_LENGTH = 79  # characters, without the line feed
DEFAULT_INTERVAL_MS = 100
INTERVAL_RANGE_MS = (20, 1000)
FILTER_RANGE_US = (50, 50_000)
STATE_EVERY_S = 10.0  # a board of version 1.1 sends its state so often
MEAN_STEPS = 16  # the pressure mean is sent in sixteenths of an ADC count


class LineError(ValueError):
    """A line that must not be taken as data. The message says why in a few words."""


class CommandError(LineError):
    """A command that a board answers with a refusal: `reply` is that answer."""

    def __init__(self, code: int, tag: int = 0) -> None:
        super().__init__(REFUSALS[code])
        self.reply = Refusal(tag, code)


class Flag(IntFlag):
    """Status bits of a report."""

    SPRAY = 0x01  # the spray switch is closed
    FLOW_GLITCH = 0x02  # a flow edge was refused as too close to the last one, in this frame
    WHEEL_GLITCH = 0x04  # the same for the wheel
    UNPLANNED_RESET = 0x08  # the last start was a watchdog or brown-out reset
    SUPPLY_LOW = 0x10  # the board measures its own supply as too low
    OUTPUT_ON = 0x20  # buzzer or light is being driven


class Capability(IntFlag):
    """What a board says is fitted."""

    FLOW = 0x01
    WHEEL = 0x02
    PRESSURE = 0x04
    SWITCH = 0x08
    BUZZER = 0x10
    LIGHT = 0x20


@dataclass(frozen=True, slots=True)
class Report:
    """One frame: cumulative counts and the board time of their last edge. Times in µs, modulo 2**32."""

    boot: int
    seq: int
    clock: int
    flow_count: int
    flow_edge: int
    wheel_count: int
    wheel_edge: int
    pressure_mean: int  # sixteenths of an ADC count
    pressure_min: int  # ADC counts
    pressure_max: int  # ADC counts
    flags: int
    edges_dropped: int
    lines_dropped: int


# Hexadecimal digits of each field of Report, in its order; a separator of None means "no space before this field".
REPORT_FIELDS: tuple[tuple[str, int], ...] = (
    ("boot", 2),
    ("seq", 4),
    ("clock", 8),
    ("flow_count", 8),
    ("flow_edge", 8),
    ("wheel_count", 8),
    ("wheel_edge", 8),
    ("pressure_mean", 4),
    ("pressure_min", 3),
    ("pressure_max", 3),
    ("flags", 2),
    ("edges_dropped", 2),
    ("lines_dropped", 2),
)
_JOINED = {"boot", "lines_dropped"}  # written straight after what stands before them


@dataclass(frozen=True, slots=True)
class Identity:
    """Who the board is: sent at start-up, when asked, and once a minute."""

    boot: int
    protocol: str
    name: str
    firmware: str
    adc_full_scale: int
    interval_ms: int
    capabilities: int
    reset_cause: str  # one letter: see RESET_CAUSES


RESET_CAUSES = {"P": "power on", "B": "brown-out", "W": "watchdog", "X": "reset pin", "U": "unknown"}


@dataclass(frozen=True, slots=True)
class Hardware:
    """What the board is made of; from version 1.1 on, after each identity line. `serial` is 0 if it has none."""

    boot: int
    serial: int
    kind: str


class FilterRule(IntEnum):
    """When an active edge counts as a pulse, with a time T."""

    SPACING = 0  # no sooner than T after the last one that counted
    REST = 1  # after the input was inactive for at least T: for contacts that bounce


@dataclass(frozen=True, slots=True)
class State:
    """What the board knows of its inputs and its supply; from version 1.1 on, every 10 s and after each identity line.

    Counts are of this start and wrap (refused at 2**32, dropped at 2**16); `clock` and the filters' times are in µs,
    `supply` in mV, 0 when it is not measured. A rule is one of FilterRule or a later version's.
    """

    boot: int
    clock: int
    flow_refused: int
    flow_dropped: int
    flow_rule: int
    flow_filter: int
    wheel_refused: int
    wheel_dropped: int
    wheel_rule: int
    wheel_filter: int
    supply: int


_INPUT_FIELDS = (("refused", 8), ("dropped", 4), ("rule", 1), ("filter", 4))
# Hexadecimal digits of each field of State, in its order.
STATE_FIELDS: tuple[tuple[str, int], ...] = (
    *(("boot", 2), ("clock", 8)),
    *((f"{name}_{field}", digits) for name in ("flow", "wheel") for field, digits in _INPUT_FIELDS),
    ("supply", 4),
)


@dataclass(frozen=True, slots=True)
class Ack:
    """A command was carried out; `value` is its result."""

    tag: int
    command: str
    value: int


@dataclass(frozen=True, slots=True)
class Refusal:
    """A command was not carried out; `code` says why: see REFUSALS."""

    tag: int
    code: int


REFUSALS = {
    0x01: "checksum does not match",
    0x02: "no such command",
    0x03: "value missing, not wanted or out of range",
    0x04: "line too long",
    0x05: "not fitted on this board",
}


@dataclass(frozen=True, slots=True)
class Command:
    """A line from the host. `letter` is one of COMMANDS; `argument` is its value, 0 where it takes none."""

    letter: str
    tag: int
    argument: int = 0


# Letter: (meaning, hexadecimal digits of the argument, 0 for none).
COMMANDS = {
    "q": ("identify", 0),
    "p": ("ping", 0),
    "n": ("set report interval, ms", 4),
    "o": ("buzzer pattern, light pattern, tenths of a second", 6),
    "f": ("set input filter: input, rule, µs", 6),
}
PATTERNS = {0: "off", 1: "steady", 2: "slow beat", 3: "fast beat"}

FILTER_INPUTS = {1: Capability.FLOW, 2: Capability.WHEEL}  # by the first digit of the `f` command

Message = Report | Identity | Hardware | State | Ack | Refusal


def seal(body: str) -> bytes:
    """The whole line for `body` (everything before the space in front of the checksum), without line feed."""
    data = body.encode("ascii") + b" "
    return data + b"%04X" % crc16(data)


def encode_report(report: Report) -> bytes:
    """The 79 characters of a report."""
    return _encode_fields("R", REPORT_FIELDS, report)


def encode_identity(identity: Identity) -> bytes:
    """The start-up line."""
    i = identity
    return seal(
        f"I{i.boot:02X} {i.protocol} {i.name} {i.firmware} {i.adc_full_scale:04X} {i.interval_ms:04X} "
        f"{i.capabilities:02X} {i.reset_cause}"
    )


def encode_hardware(hardware: Hardware) -> bytes:
    """The line that follows an identity line."""
    return seal(f"H{hardware.boot:02X} {hardware.serial:08X} {hardware.kind}")


def encode_state(state: State) -> bytes:
    """The state of inputs and supply."""
    return _encode_fields("S", STATE_FIELDS, state)


def _encode_fields(letter: str, fields: tuple[tuple[str, int], ...], message: Report | State) -> bytes:
    body = letter
    for (name, digits), value in zip(fields, astuple(message), strict=True):
        body += ("" if name in _JOINED else " ") + f"{value:0{digits}X}"
    return seal(body)


def encode_reply(reply: Ack | Refusal) -> bytes:
    """An acknowledgement or an error reply."""
    if isinstance(reply, Ack):
        return seal(f"A{reply.tag:02X} {reply.command} {reply.value:08X}")
    return seal(f"E{reply.tag:02X} {reply.code:02X}")


def encode_command(command: Command) -> bytes:
    """A host command.

    Raises KeyError for a letter that is not in COMMANDS.
    """
    digits = COMMANDS[command.letter][1]
    argument = f" {command.argument:0{digits}X}" if digits else ""
    return seal(f"{command.letter}{command.tag:02X}{argument}")


def outputs_argument(buzzer: int, light: int, tenths: int) -> int:
    """Argument of the `o` command: patterns 0 to 3 and a duration in tenths of a second, 0 = until changed."""
    return buzzer << 20 | light << 16 | tenths


def filter_argument(capability: Capability, rule: int, microseconds: int) -> int:
    """Argument of the `f` command for the input of `capability`, FLOW or WHEEL."""
    (number,) = (number for number, bit in FILTER_INPUTS.items() if bit == capability)
    return number << 20 | rule << 16 | microseconds


def _fields_pattern(letter: bytes, fields: tuple[tuple[str, int], ...]) -> re.Pattern[bytes]:
    places = b"".join((b"" if name in _JOINED else b" ") + b"([0-9A-F]{%d})" % digits for name, digits in fields)
    return re.compile(letter + places + b" [0-9A-F]{4}")


_REPORT = _fields_pattern(b"R", REPORT_FIELDS)
_STATE = _fields_pattern(b"S", STATE_FIELDS)
_HARDWARE = re.compile(rb"H([0-9A-F]{2}) ([0-9A-F]{8}) ([a-z0-9-]{1,16}) [0-9A-F]{4}")
_IDENTITY = re.compile(
    rb"I([0-9A-F]{2}) (\d{1,2}\.\d{1,2}) ([a-z0-9-]{1,16}) ([0-9A-Za-z.+-]{1,12}) ([0-9A-F]{4}) ([0-9A-F]{4})"
    rb" ([0-9A-F]{2}) ([A-Z]) [0-9A-F]{4}"
)
_ACK = re.compile(rb"A([0-9A-F]{2}) ([a-z]) ([0-9A-F]{8}) [0-9A-F]{4}")
_REFUSAL = re.compile(rb"E([0-9A-F]{2}) ([0-9A-F]{2}) [0-9A-F]{4}")
_COMMAND = re.compile(rb"([a-z])([0-9A-F]{2})(?: (.*))? [0-9A-F]{4}", re.DOTALL)


def check_line(line: bytes) -> None:
    """Raise LineError unless `line` ends in a space and the four digits of its own checksum."""
    if len(line) >= MAX_LINE:
        raise LineError("line too long")
    if len(line) < 6 or line[-5:-4] != b" ":
        raise LineError("no checksum")
    if line[-4:] != b"%04X" % crc16(line[:-4]):
        raise LineError("checksum does not match")


def decode(line: bytes) -> Message | None:
    """The message in a board's line; None for a sound line of a kind that this version does not know.

    Raises LineError when the line is damaged or is not written as PROTOCOL.md says.
    """
    check_line(line)
    letter = line[:1]
    if reader := _READERS.get(letter):
        return reader(line)
    if letter.isalpha() and letter.isupper():
        return None
    raise LineError("not a board's line")


def _read_report(line: bytes) -> Report:
    return Report(*(int(value, 16) for value in _fields(_REPORT, line)))


def _read_identity(line: bytes) -> Identity:
    boot, protocol, name, firmware, *numbers, cause = _fields(_IDENTITY, line)
    full, interval, capabilities = (int(number, 16) for number in numbers)
    texts = protocol.decode(), name.decode(), firmware.decode()
    return Identity(int(boot, 16), *texts, full, interval, capabilities, cause.decode())


def _read_hardware(line: bytes) -> Hardware:
    boot, serial, kind = _fields(_HARDWARE, line)
    return Hardware(int(boot, 16), int(serial, 16), kind.decode())


def _read_state(line: bytes) -> State:
    return State(*(int(value, 16) for value in _fields(_STATE, line)))


def _read_ack(line: bytes) -> Ack:
    tag, command, value = _fields(_ACK, line)
    return Ack(int(tag, 16), command.decode(), int(value, 16))


def _read_refusal(line: bytes) -> Refusal:
    tag, code = _fields(_REFUSAL, line)
    return Refusal(int(tag, 16), int(code, 16))


_READERS: dict[bytes, Callable[[bytes], Message]] = {
    b"R": _read_report,
    b"I": _read_identity,
    b"H": _read_hardware,
    b"S": _read_state,
    b"A": _read_ack,
    b"E": _read_refusal,
}


def decode_command(line: bytes) -> Command:
    """The host command in `line`, as a board reads it; whether what it asks for is fitted is left to the board.

    Raises CommandError with the reply that the board gives. Its tag is 0 where the line's own cannot be trusted.
    """
    if len(line) > MAX_COMMAND:
        raise CommandError(0x04)
    if len(line) < 6 or line[-5:] != b" %04X" % crc16(line[:-4]):
        raise CommandError(0x01)
    match = _COMMAND.fullmatch(line)
    if match is None:
        raise CommandError(0x02)
    letter, tag, argument = match[1].decode(), int(match[2], 16), match[3]
    if letter not in COMMANDS:
        raise CommandError(0x02, tag)
    digits = COMMANDS[letter][1]
    if argument is None and digits == 0:
        return Command(letter, tag)
    if argument is None or digits == 0 or re.fullmatch(b"[0-9A-F]{%d}" % digits, argument) is None:
        raise CommandError(0x03, tag)
    command = Command(letter, tag, int(argument, 16))
    if not _in_range(command):
        raise CommandError(0x03, tag)
    return command


def _in_range(command: Command) -> bool:
    if command.letter == "n":
        return INTERVAL_RANGE_MS[0] <= command.argument <= INTERVAL_RANGE_MS[1]
    if command.letter == "f":
        number, rule, time = command.argument >> 20, command.argument >> 16 & 0xF, command.argument & 0xFFFF
        return number in FILTER_INPUTS and rule in set(FilterRule) and FILTER_RANGE_US[0] <= time <= FILTER_RANGE_US[1]
    return command.argument >> 20 in PATTERNS and command.argument >> 16 & 0xF in PATTERNS


def _fields(pattern: re.Pattern[bytes], line: bytes) -> tuple[bytes, ...]:
    match = pattern.fullmatch(line)
    if match is None:
        raise LineError("checksum is right but a field is not written as the protocol says")
    return match.groups()
