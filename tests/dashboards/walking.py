"""A board whose sprayer walks as a test says: lines of the wire, one report for each tenth of a second until another
interval is asked for."""

from __future__ import annotations

import math
import os
import select
import tempfile
import threading
import time
import tty
from dataclasses import dataclass, field, replace
from pathlib import Path

from firmware_protocol.messages import (
    Ack,
    Flag,
    Identity,
    LineError,
    Report,
    decode_command,
    encode_identity,
    encode_reply,
    encode_report,
)
from firmware_protocol.splitter import LineSplitter

RIG = Path(__file__).parents[2] / "host/rig/examples/harrow-lea-pull-behind.toml"
GALLON_L = 3.785411784  # NIST Handbook 44, Appendix C: 231 in³
FLOW_GPM = 4 * 0.35  # four nozzles as the rig file says
# Rate in gal/1000 ft² = 136 × gpm of one nozzle / (mph × spacing in inches); 136.36 unrounded (turf bulletins; from
# memory): this pace puts the rig's target of 1.0 gal/1000 ft² on the ground.
TARGET_MPH = 136.36 * 0.35 / (1.0 * 20)
MPH_M_S = 0.44704
PULSES_PER_L = 450
METRES_PER_PULSE = 0.12
STEP_S = 0.1
IDENTITY = Identity(1, "1.0", "test-board", "0.1", 1023, 100, 0x0F, "P")
FORTY_PSI = round((0.1 + 0.8 * 0.4) * 1023 * 16)  # 0 to 100 psi over 10 to 90 % of full scale, sixteenths of a count


@dataclass
class Walk:
    """Counts as a real board has them: whole pulses, each with the time of its last edge."""

    pace_mph: float = TARGET_MPH
    spraying: bool = True
    flow_share: float = 1.0  # of what healthy nozzles pass
    pressure: int = FORTY_PSI  # sixteenths of a count
    stops_at: float = math.inf  # pulses of the wheel, as `turned`: there it stands still
    time_s: float = 0.0
    step_s: float = STEP_S
    _flow: float = 0.5  # half a pulse on, so that no rounding decides where an edge falls
    _wheel: float = 0.5
    _edges: dict[str, int] = field(default_factory=lambda: {"flow": 0, "wheel": 0})
    seq: int = 0

    @property
    def turned(self) -> int:
        """Pulses of the wheel so far."""
        return int(self._wheel)

    def report(self) -> bytes:
        """The next report, without line feed."""
        self.time_s += self.step_s
        self.seq += 1
        flow_hz = self.flow_share * FLOW_GPM * GALLON_L / 60 * PULSES_PER_L if self.spraying else 0.0
        self._flow = self._count("flow", self._flow, flow_hz)
        wheel_hz = self.pace_mph * MPH_M_S / METRES_PER_PULSE if self.turned < self.stops_at else 0.0
        self._wheel = self._count("wheel", self._wheel, wheel_hz)
        return encode_report(
            Report(
                boot=IDENTITY.boot,
                seq=self.seq & 0xFFFF,
                clock=self._us(self.time_s),
                flow_count=int(self._flow),
                flow_edge=self._edges["flow"],
                wheel_count=int(self._wheel),
                wheel_edge=self._edges["wheel"],
                pressure_mean=self.pressure,
                pressure_min=self.pressure // 16 - 2,
                pressure_max=self.pressure // 16 + 2,
                flags=Flag.SPRAY if self.spraying else 0,
                edges_dropped=0,
                lines_dropped=0,
            )
        )

    def _count(self, name: str, before: float, hz: float) -> float:
        after = before + hz * self.step_s
        if int(after) > int(before):
            self._edges[name] = self._us(self.time_s - (after - int(after)) / hz)
        return after

    @staticmethod
    def _us(seconds: float) -> int:
        return round(seconds * 1e6) & 0xFFFFFFFF


class BoardOnPty:
    """Sends a walk's reports over a pseudo-terminal and answers commands. Nobody sets the interval of a `fixed` one."""

    def __init__(self, *, fixed: bool = False) -> None:
        self.walk, self._fixed = Walk(), fixed
        self.sent_at: dict[int, float] = {}  # sequence number: CLOCK_MONOTONIC when the last byte had been written
        self.quiet = threading.Event()
        self._master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(self._master, False)
        self._slave = slave  # held open, so that a recorder may come and go
        # A name of its own: the terminal's is given to the next one, and a recorder looks for its board by name.
        self._folder = tempfile.TemporaryDirectory()
        self.port = str(Path(self._folder.name) / "board")
        Path(self.port).symlink_to(os.ttyname(slave))
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="board", daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._stop.set()
        self._thread.join()
        self._folder.cleanup()
        os.close(self._master)
        os.close(self._slave)

    def _run(self) -> None:
        splitter = LineSplitter()
        due = time.monotonic()
        while not self._stop.is_set():
            wait = max(0.0, due - time.monotonic())
            if select.select([self._master], [], [], wait)[0]:
                for line in splitter.push(os.read(self._master, 4096)):
                    self._answer(line)
            if time.monotonic() < due:
                continue
            due += self.walk.step_s
            report = self.walk.report()
            if not self.quiet.is_set():
                self._send(report)
                self.sent_at[self.walk.seq] = time.monotonic()

    def _answer(self, line: bytes) -> None:
        try:
            command = decode_command(line)
        except LineError:
            return
        if command.letter == "q":
            self._send(encode_identity(replace(IDENTITY, interval_ms=round(1000 * self.walk.step_s))))
        if command.letter == "n" and not self._fixed:
            self.walk.step_s = command.argument / 1000
        value = round(1000 * self.walk.step_s) if command.letter == "n" else 0
        self._send(encode_reply(Ack(command.tag, command.letter, value)))

    def _send(self, line: bytes) -> None:
        """A line; where nobody listens it waits, but not for longer than the board is there."""
        left = line + b"\n"
        while left and not self._stop.is_set():
            if select.select([], [self._master], [], STEP_S)[1]:
                left = left[os.write(self._master, left) :]
