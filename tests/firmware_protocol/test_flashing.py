"""`make flash` through a pseudo-terminal: the open-source programmer of Debian against a boot loader written here.

The loader is written from the published protocol of the chip's maker for serial programmers (application note AVR061:
STK500 Communication Protocol), by the commands that a boot loader answers.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import threading
import tty
from pathlib import Path

import pytest

from tests.firmware_protocol.board_tools import BOARD, missing_for_emulator

SYNC, IN_SYNC, OK, NO_SYNC = 0x20, 0x14, 0x10, 0x15
SIGNATURE = bytes([0x1E, 0x95, 0x0F])  # of an ATmega328P, as its data sheet has it
# Bytes that follow each command before SYNC, where they are not counted in the command itself.
LENGTHS = {0x30: 0, 0x41: 1, 0x42: 20, 0x45: 5, 0x50: 0, 0x51: 0, 0x52: 0, 0x55: 2, 0x56: 4, 0x74: 3, 0x75: 0}

pytestmark = [
    pytest.mark.avr,
    pytest.mark.skipif(bool(missing_for_emulator()), reason=missing_for_emulator() or "-"),
    pytest.mark.skipif(not shutil.which("avrdude"), reason="avrdude is not installed (Debian: avrdude)"),
]


class Loader(threading.Thread):
    """Answers on one end of a pseudo-terminal, whose other end is `path`; `flash` is what was programmed."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.flash = bytearray(b"\xff" * 32_768)
        self.left = False
        self._own, self._their = os.openpty()
        tty.setraw(self._their)
        self.path = os.ttyname(self._their)
        self._address = 0

    def run(self) -> None:
        try:
            while True:
                self._command(self._take(1)[0])
        except OSError:
            return

    def close(self) -> None:
        os.close(self._their)
        os.close(self._own)
        self.join(5)

    def _take(self, count: int) -> bytes:
        data = b""
        while len(data) < count:
            data += os.read(self._own, count - len(data))
        return data

    def _command(self, command: int) -> None:
        if command == 0x64:  # a page, with its length before it
            high, low, kind = self._take(3)
            asked = bytes([high, low, kind]) + self._take(high << 8 | low)
        elif command in LENGTHS:
            asked = self._take(LENGTHS[command])
        else:
            return
        if self._take(1) != bytes([SYNC]):
            os.write(self._own, bytes([NO_SYNC]))
            return
        os.write(self._own, bytes([IN_SYNC]) + self._answer(command, asked) + bytes([OK]))

    def _answer(self, command: int, asked: bytes) -> bytes:
        start = 2 * self._address  # the protocol counts words
        match command:
            case 0x41:
                return b"\x04"
            case 0x55:
                self._address = asked[0] | asked[1] << 8
            case 0x56:
                return bytes([SIGNATURE[asked[2]] if asked[0] == 0x30 else 0])
            case 0x64:
                self.flash[start : start + len(asked) - 3] = asked[3:]
            case 0x74:
                return bytes(self.flash[start : start + (asked[0] << 8 | asked[1])])
            case 0x75:
                return SIGNATURE
            case 0x51:
                self.left = True
        return b""


def test_the_firmware_arrives_whole_and_is_read_back(tmp_path: Path) -> None:
    loader = Loader()
    loader.start()
    try:
        made = ["make", "-s", "-C", str(BOARD), f"BUILD={tmp_path}", "flash", f"PORT={loader.path}"]
        done = subprocess.run(made, capture_output=True, text=True, timeout=120, check=False)
        assert done.returncode == 0, done.stderr
    finally:
        loader.close()
    subprocess.run(["avr-objcopy", "-I", "ihex", "-O", "binary", tmp_path / "board.hex", tmp_path / "b"], check=True)
    wanted = (tmp_path / "b").read_bytes()
    assert len(wanted) > 8_000 and loader.left
    assert loader.flash[: len(wanted)] == wanted and set(loader.flash[len(wanted) :]) == {0xFF}
