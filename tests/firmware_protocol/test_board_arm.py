"""The 32-bit ARM ports in emulated chips with Cortex-M4, M3 and M0: vectors, counts, the clock's turn.

The emulators have the chip's core, timer and serial lines, but no pins: edges are raised as
interrupts (emulated_edges.c of each port).
"""

from __future__ import annotations

import shutil
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from firmware_protocol.messages import Ack, Command, Identity, LineError, Report, State, decode, encode_command
from tests.firmware_protocol.board_tools import BOARD, build
from tests.firmware_protocol.vector_files import rows, unescape

_MISSING = [tool for tool in ("arm-none-eabi-gcc", "qemu-system-arm", "make") if not shutil.which(tool)]
pytestmark = pytest.mark.skipif(bool(_MISSING), reason=f"not installed: {', '.join(_MISSING)}")

_AS_VECTORS = ["-DBOOT_NUMBER=5", "-DADC_FULL_SCALE=1023u", '-DBOARD_NAME=\\"test-board\\"']
WAIT_S = 30.0


@dataclass(frozen=True)
class Machine:
    """An emulated board: the port, what the compiler is told, the emulator's name for it and its serial lines.

    With one line, edges are bytes beyond ASCII on it.
    """

    port: str
    cpu: str
    name: str
    lines: int
    options: str = ""


# This emulator's timer runs at 1 GHz, and it has no unique number where the chip has one.
_STM32 = "-DTIMER_HZ=1000000000u -DUNIQUE_NUMBER=0x08000000u"
_M4 = Machine("stm32f4", "cortex-m4", "netduinoplus2", 2, _STM32)  # STM32F405
_M3 = Machine("stm32f4", "cortex-m3", "netduino2", 2, _STM32)  # STM32F205: the same registers at the same places
_M0 = Machine("nrf51", "cortex-m0", "microbit", 1)  # nRF51822
_M0PLUS = Machine("nrf51", "cortex-m0plus", "microbit", 1)  # built for the M0+, run by an M0: both are ARMv6-M


def _on(*machines: Machine) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("machine", machines, ids=lambda machine: machine.cpu)


def _built(folder: Path, machine: Machine, *options: str) -> Path:
    done = subprocess.run(
        [
            *["make", "-C", str(BOARD), machine.port, f"BUILD={folder}", f"ARM_CPU={machine.cpu}"],
            f"OPTIONS={' '.join(['-DEMULATED_EDGES', machine.options, *options])}",
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return folder / f"{machine.port}.elf"


class Arm:
    """An emulated board: its serial line, and the line that makes edges if it has one."""

    def __init__(self, line: socket.socket, edges: socket.socket | None = None) -> None:
        self._line, self._edges = line, edges
        self._rest = b""

    def hear(self, wanted: Callable[[Any], bool]) -> list[bytes]:
        """Sound lines up to and including the first that is wanted."""
        heard: list[bytes] = []
        deadline = time.monotonic() + WAIT_S
        while time.monotonic() < deadline:
            while b"\n" in self._rest:
                line, self._rest = self._rest.split(b"\n", 1)
                try:
                    message = decode(line)
                except LineError:
                    continue
                heard.append(line)
                if wanted(message):
                    return heard
            self._rest += self._line.recv(4096)
        pytest.fail(f"it never came; heard {heard[-5:]}")

    def send(self, line: bytes) -> None:
        self._line.sendall(line + b"\n")

    def ask(self, line: bytes, tag: int = 0xEE) -> list[bytes]:
        """What comes upon `line`, up to the answer to a ping that follows, without reports, hardware and state."""
        self.send(line)
        self.send(encode_command(Command("p", tag)))
        lines = self.hear(lambda message: isinstance(message, Ack) and message.tag == tag)
        return [heard for heard in lines[:-1] if heard[:1] not in b"RHS"]

    def edge(self, letter: str, count: int) -> None:
        if self._edges:
            self._edges.sendall(letter.encode() * count)
        else:
            self._line.sendall(bytes([0x80 | ord(letter)]) * count)

    def state(self) -> State:
        self.send(encode_command(Command("q", 0)))
        return next(m for m in map(decode, self.hear(lambda m: isinstance(m, State))) if isinstance(m, State))


def _connected(path: Path) -> socket.socket:
    deadline = time.monotonic() + WAIT_S
    while True:
        line = socket.socket(socket.AF_UNIX)
        line.settimeout(WAIT_S)
        try:
            line.connect(str(path))
            return line
        except OSError:
            line.close()
            assert time.monotonic() < deadline, "the emulator did not start"
            time.sleep(0.02)


@contextmanager
def _emulated(elf: Path, folder: Path, machine: Machine) -> Iterator[Arm]:
    paths = [folder / "line", folder / "edges"][: machine.lines]
    options: list[str] = []
    for nth, path in enumerate(paths):
        path.unlink(missing_ok=True)
        options += ["-chardev", f"socket,id=c{nth},path={path},server=on,wait=on", "-serial", f"chardev:c{nth}"]
    command = ["qemu-system-arm", "-machine", machine.name, "-display", "none", "-monitor", "none"]
    with subprocess.Popen(
        [*command, "-kernel", str(elf), *options], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as process:
        lines: list[socket.socket] = []
        try:
            lines.extend(_connected(path) for path in paths)  # it waits for the first before it opens the second
            yield Arm(*lines)
        finally:
            process.kill()
            for line in lines:
                line.close()


@_on(_M4, _M3, _M0)
@pytest.mark.parametrize("fitted", sorted({row["fitted"] for row in rows("commands.tsv")}, reverse=True))
def test_answers_of_the_golden_vectors(tmp_path: Path, fitted: str, machine: Machine) -> None:
    """All but the clock in the answer to a ping, which goes on here."""
    elf = _built(tmp_path, machine, *_AS_VECTORS, f"-DBOARD_FITTED=0x{fitted}u")
    usual = [Command("n", 0, 100), Command("f", 0, 0x100064), Command("f", 0, 0x200190), Command("o", 0, 0)]
    with _emulated(elf, tmp_path, machine) as arm:
        arm.hear(lambda message: isinstance(message, State))
        for row in (row for row in rows("commands.tsv") if row["fitted"] == fitted):
            for command in usual:
                arm.ask(encode_command(command))
            wanted = [reply.encode() for reply in row["replies"].split("|") if reply]
            answers = arm.ask(unescape(row["line"]))
            if unescape(row["line"]).startswith(b"p") and wanted[0].startswith(b"A"):
                assert [answer[:6] for answer in answers] == [b"A" + wanted[0][1:6]], row["name"]
            else:
                assert answers == wanted, row["name"]


@_on(_M4, _M3, _M0, _M0PLUS)
def test_counts_every_edge_and_keeps_time_across_the_turn_of_the_clock(tmp_path: Path, machine: Machine) -> None:
    elf = _built(tmp_path, machine, "-DCLOCK_BEGINS=0xFFF80000u")  # half a second before it turns over
    with _emulated(elf, tmp_path, machine) as arm:
        first = arm.hear(lambda message: isinstance(message, Report))
        sent = {"f": 0, "w": 0}
        reports: list[Report] = []
        while not reports or reports[-1].seq < 12:
            for letter, count in (("f", 7), ("w", 3)):
                arm.edge(letter, count)
                sent[letter] += count
            reports += [m for m in map(decode, arm.hear(lambda m: isinstance(m, Report))) if isinstance(m, Report)]
        state = arm.state()
        (last,) = [m for m in map(decode, arm.hear(lambda m: isinstance(m, Report))) if isinstance(m, Report)][-1:]
        assert isinstance(decode(first[0]), Identity)
        assert last.flow_count + state.flow_refused == sent["f"]
        assert last.wheel_count + state.wheel_refused == sent["w"]
        assert last.flow_count >= len(reports) - 1
        assert any(after.clock < before.clock for before, after in pairwise(reports))
        assert all((report.clock - report.flow_edge) % 2**32 < 1_000_000 for report in reports[1:])


@pytest.mark.parametrize(("machine", "instructions"), [(_M0PLUS, "v6S-M"), (_M3, "v7"), (_M4, "v7E-M")])
def test_an_image_is_for_the_instructions_of_its_chip(tmp_path: Path, machine: Machine, instructions: str) -> None:
    """As the compiler writes them into the image: ARMv6-M, ARMv7-M, ARMv7E-M."""
    elf = _built(tmp_path, machine)
    said = subprocess.run(["arm-none-eabi-readelf", "-A", elf], capture_output=True, text=True, check=True).stdout
    assert f"Tag_CPU_arch: {instructions}\n" in said


def test_the_core_is_built_for_newer_chips(tmp_path: Path) -> None:
    for source in sorted((BOARD / "swardflow_board/src/core").glob("*.c")):
        options = ["-std=gnu11", "-Wall", "-Wextra", "-Wconversion", "-Wsign-conversion", "-Werror", "-mthumb"]
        subprocess.run(
            ["arm-none-eabi-gcc", *options, "-mcpu=cortex-m33", "-c", str(source), "-o", str(tmp_path / "core.o")],
            check=True,
        )


def test_the_release_has_its_checksums(tmp_path: Path) -> None:
    if not shutil.which("avr-gcc"):
        pytest.skip("avr-gcc is not installed (Debian: gcc-avr avr-libc)")
    build("release", tmp_path)
    subprocess.run(["sha256sum", "--check", "--strict", "SHA256SUMS"], cwd=tmp_path / "release", check=True)
    assert {path.name for path in (tmp_path / "release").iterdir()} == {
        "board.hex",
        "stm32f4.bin",
        "nrf51.bin",
        "SHA256SUMS",
    }
