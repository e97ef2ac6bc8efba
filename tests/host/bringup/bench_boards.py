"""Boards for the bench that need no time: the firmware's core behind a port whose clock is the board's."""

from __future__ import annotations

from collections.abc import Callable

from tests.firmware_protocol.board_tools import Core

STEP_US = 1_000


class CorePort:
    """A port with the core behind it. Each read lets 10 ms pass; `spoil` may change each line the board sends."""

    def __init__(self, core: Core, spoil: Callable[[bytes], bytes] = lambda line: line) -> None:
        self.core = core
        self.spoil = spoil
        self.now_us = 0
        self.before_step: Callable[[int], None] = lambda now_us: None
        self.closed = False

    def clock(self) -> float:
        return self.now_us / 1e6

    def read(self) -> bytes:
        lines: list[bytes] = []
        for _ in range(10):
            self.now_us += STEP_US
            self.core.clock = self.now_us
            self.core.lib.chip_set_pressure(102)  # 10 % of 1023
            self.before_step(self.now_us)
            lines += self.core.passes()
        return b"".join(self.spoil(line) + b"\n" for line in lines)

    def read_waiting(self) -> bytes:
        return b""

    def write(self, data: bytes) -> None:
        self.core.send(data)

    def set_baud(self, baud: int) -> None:
        self.baud = baud

    def close(self) -> None:
        self.closed = True
