"""Builds the firmware, its native core and the emulator for the tests, once, and runs them."""

from __future__ import annotations

import ctypes
import shutil
import subprocess
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import pytest

from tests.firmware_protocol.vector_files import FOLDER

BOARD = FOLDER / "board"
SCENARIOS = Path(__file__).parent / "scenarios"
UNSENT = 255  # bytes: a line on which nothing leaves


@cache
def missing_for_core() -> str:
    """What building the native core lacks here; nothing if it can be built."""
    return "" if shutil.which("make") and shutil.which("cc") else "make and a C compiler are not installed"


@cache
def missing_for_emulator() -> str:
    """What building the firmware and the emulated board lacks here; nothing if both can be built."""
    if missing_for_core():
        return missing_for_core()
    if not shutil.which("avr-gcc"):
        return "avr-gcc is not installed (Debian: gcc-avr avr-libc)"
    probe = "#include <libelf.h>\n#include <simavr/sim_avr.h>\n"
    found = subprocess.run(["cc", "-E", "-"], input=probe, text=True, capture_output=True, check=False)
    return "" if found.returncode == 0 else "simavr is not installed (Debian: libsimavr-dev libelf-dev)"


@cache
def missing_for_loaders() -> str:
    """What running a vendor's boot loader lacks here; nothing if it is there."""
    there = Path("/usr/share/arduino/hardware/arduino/avr/bootloaders").is_dir()
    return "" if there else "the boot loaders are not installed (Debian: arduino-core-avr)"


@cache
def build(target: str, folder: Path) -> Path:
    """Runs make for `target` in a build folder of its own."""
    done = subprocess.run(
        ["make", "-C", str(BOARD), target, f"BUILD={folder}"], capture_output=True, text=True, check=False
    )
    if done.returncode:
        pytest.fail(f"make {target} failed:\n{done.stdout[-2000:]}{done.stderr[-4000:]}")
    return folder


class Core:
    """The firmware's core with a chip made of variables: see native/make_believe_port.h."""

    def __init__(self, library: Path) -> None:
        self.lib = ctypes.CDLL(str(library))
        self.lib.chip_buzzer.restype = self.lib.chip_light.restype = ctypes.c_bool
        self.lib.chip_take_sent.restype = ctypes.c_size_t
        self.lib.wire_crc.restype = ctypes.c_uint16
        self._out = ctypes.create_string_buffer(65536)
        self.power_on()

    def power_on(self) -> None:
        """Everything as it is before the first start: clock 0, nothing counted, memory blank."""
        self.lib.chip_set_sender(255, 0)
        self.lib.chip_set_inputs(False, 5000)
        self.lib.chip_lose_memory(0)
        self.lib.chip_keep_begin(False)
        self.clock = 0

    @property
    def clock(self) -> int:
        return self._clock

    @clock.setter
    def clock(self, value: int) -> None:
        self._clock = value % 2**32
        self.lib.chip_set_clock(ctypes.c_uint32(self._clock))

    def start(self, boot: int = 5, capabilities: int = 0x3F, cause: bytes = b"P") -> list[bytes]:
        """Starts the board as `commands.tsv` says; returns its start-up line, and passes over the two that follow."""
        self.lib.chip_board_start(boot, b"test-board", b"1.1.0", 1023, capabilities, ctypes.c_char(cause))
        lines = [line for line in self.sent() if line != b"?"]
        assert [line[:1] for line in self.passes() + self.passes()] == [b"H", b"S"]
        return lines

    def restart(self, boot: int, cause: bytes = b"X", trusted: bool = True) -> list[bytes]:
        """A restart that keeps memory, as the chip does it."""
        self.lib.chip_keep_begin(trusted)
        self.clock = 0
        return self.start(boot, cause=cause)

    def sent(self) -> list[bytes]:
        length = self.lib.chip_take_sent(self._out, ctypes.c_size_t(len(self._out)))
        data = self._out.raw[:length]
        assert data == b"" or data.endswith(b"\n")
        return [line for line in data.split(b"\n")[:-1] if line]

    def send(self, data: bytes) -> None:
        self.lib.chip_receive(data, ctypes.c_size_t(len(data)))

    def passes(self) -> list[bytes]:
        """One pass; what it sent."""
        self.lib.board_pass()
        return self.sent()

    def answers(self, line: bytes) -> list[bytes]:
        """What the board sends upon `line`, without hardware and state, while its clock stands still."""
        self.send(line + b"\n")
        return [sent for _ in range(8) for sent in self.passes() if sent[:1] not in b"HS"]

    def run_to(self, clock: int, step: int = 1000) -> list[bytes]:
        """Passes every `step` µs up to and including `clock`; what they sent."""
        lines = []
        while self.clock != clock:
            self.clock = min(self.clock + step, clock)
            lines += self.passes()
        return lines

    def flow(self) -> None:
        self.lib.chip_flow_edge()

    def wheel(self) -> None:
        self.lib.chip_wheel_edge()


def emulate(folder: Path, scenario: str | Path, *options: str, timeout: float = 280) -> dict[str, float]:
    """Runs the emulated board through a scenario (its text, or a file) and returns the truth it prints."""
    if isinstance(scenario, str):
        path = folder / "scenario.txt"
        path.write_text(scenario, encoding="ascii")
    else:
        path = scenario
    done = subprocess.run(
        [folder / "emulated_board", folder / "board.elf", path, *options],
        capture_output=True,
        text=True,
        check=False,
        timeout=timeout,
    )
    assert done.returncode == 0, done.stderr
    return read_truth(done.stdout.splitlines())


def read_truth(lines: Sequence[str]) -> dict[str, float]:
    """The `key value` lines of the emulated board; other lines are passed over."""
    pairs = [line.split() for line in lines]
    return {pair[0]: float(pair[1]) for pair in pairs if len(pair) == 2 and pair[1].replace(".", "", 1).isdigit()}
