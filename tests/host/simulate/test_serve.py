"""Pacing and the pseudo-terminal, on a clock that the tests move: nothing here sleeps for timing."""

from __future__ import annotations

import math
import threading
from pathlib import Path

import numpy as np
import pytest
import serial

from firmware_protocol.messages import Command, decode, encode_command
from host.errors import UserError
from host.simulate.disturbances import Disturbance
from host.simulate.scenario_source import ScenarioSource, run_lines
from host.simulate.serve import LOOK_S, SETTLE_S, UNSEEN_S, Server, serve
from host.simulate.terminal import PseudoTerminal
from tests.host.simulate.made import one_pass


class Clock:
    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now

    def sleep(self, wait_s: float) -> None:
        assert wait_s >= 0
        self.now += wait_s


class FakeTerminal:
    """Takes everything, or as much as `room` allows; keeps what was written with the clock's time."""

    path = "/dev/fake"

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self.reader = True
        self.opening = True  # the reader throws its input away when it opens the port
        self.room = 1 << 30
        self.sent: list[tuple[float, bytes]] = []
        self.incoming = b""
        self.closed = False

    def has_reader(self) -> bool:
        return self.reader

    def write(self, data: bytes) -> int:
        taken = data[: self.room]
        self.room -= len(taken)
        if taken:
            self.sent.append((self._clock.now, taken))
        return len(taken)

    def read(self) -> bytes:
        data, self.incoming = self.incoming, b""
        return data

    def was_emptied(self) -> bool:
        emptied, self.opening = self.opening, False
        return emptied

    def unread(self) -> int:
        return 0

    def close(self) -> None:
        self.closed = True

    def lines(self) -> list[bytes]:
        return b"".join(data for _, data in self.sent).split(b"\n")[:-1]


def source_of(*events: Disturbance, seconds: float = 8.0) -> ScenarioSource:
    return ScenarioSource(one_pass(*events, seconds=seconds), np.random.default_rng(1))


def whole(*events: Disturbance, seconds: float = 8.0) -> list[tuple[float, bytes]]:
    return [line for lines in run_lines(source_of(*events, seconds=seconds)) for line in lines]


@pytest.mark.parametrize("pace", [0.5, 1.0, 20.0])
def test_every_line_is_sent_when_it_is_due(pace: float) -> None:
    clock = Clock()
    terminal = FakeTerminal(clock)
    server = Server(source_of(), lambda: terminal, clock, pace)
    serve(server, clock.sleep)
    assert terminal.lines() == [line for _, line in whole()]
    begin = 100.0 + SETTLE_S
    sent_at = [at for at, data in terminal.sent for _ in range(data.count(b"\n"))]
    late = [at - begin - due / pace for at, (due, _) in zip(sent_at, whole(), strict=True)]
    assert min(late) >= -1e-6
    assert max(late) < 0.06
    assert terminal.closed


def test_full_speed_takes_no_time_and_loses_nothing_however_slowly_it_is_read() -> None:
    clock = Clock()
    terminal = FakeTerminal(clock)
    server = Server(source_of(), lambda: terminal, clock, math.inf)
    steps = 0
    while not server.over:
        terminal.room = 333
        clock.sleep(server.step())
        steps += 1
    assert terminal.lines() == [line for _, line in whole()]
    assert server.lines_lost == 0
    assert clock.now < 101.5


def test_the_run_waits_for_its_reader() -> None:
    clock = Clock()
    terminal = FakeTerminal(clock)
    terminal.reader = False
    server = Server(source_of(), lambda: terminal, clock)
    for _ in range(1000):
        clock.sleep(server.step())
    assert not server.started
    terminal.reader = True
    for _ in range(20):
        clock.sleep(server.step())
    assert server.started
    assert terminal.lines()[0].startswith(b"I01")


def test_a_reader_that_leaves_misses_lines_and_the_board_goes_on() -> None:
    clock = Clock()
    terminal = FakeTerminal(clock)
    server = Server(source_of(), lambda: terminal, clock)
    while not server.over:
        terminal.reader = not 3.0 < clock.now - 100.0 < 5.0
        terminal.opening |= not terminal.reader
        clock.sleep(server.step())
    assert server.lines_lost == pytest.approx(20, abs=3)
    assert len(terminal.lines()) + server.lines_lost == len(whole())


def test_at_full_speed_the_run_waits_for_a_reader_that_left() -> None:
    clock = Clock()
    terminal = FakeTerminal(clock)
    server = Server(source_of(seconds=30.0), lambda: terminal, clock, math.inf)
    while not terminal.sent:
        clock.sleep(server.step())
    terminal.reader = False
    before = len(terminal.sent)
    for _ in range(50):
        clock.sleep(server.step())
    assert len(terminal.sent) == before
    terminal.reader = True
    serve(server, clock.sleep)
    assert terminal.lines() == [line for _, line in whole(seconds=30.0)]


def test_a_reader_not_seen_to_empty_its_port_is_given_time() -> None:
    clock = Clock()
    terminal = FakeTerminal(clock)
    terminal.opening = False
    server = Server(source_of(), lambda: terminal, clock)
    serve(server, clock.sleep)
    assert terminal.sent[0][0] - 100.0 == pytest.approx(UNSEEN_S, abs=0.06)
    assert terminal.lines() == [line for _, line in whole()]


def test_a_pulled_cable_closes_the_terminal_and_a_new_one_comes() -> None:
    unplug = Disturbance("unplug", 2.0, lasts_s=3.0)
    clock = Clock()
    opened: list[FakeTerminal] = []

    def open_terminal() -> FakeTerminal:
        opened.append(FakeTerminal(clock))
        return opened[-1]

    serve(Server(source_of(unplug), open_terminal, clock), clock.sleep)
    expected = whole(unplug)
    assert len(opened) == 2
    assert all(terminal.closed for terminal in opened)
    assert opened[0].lines() == [line for due, line in expected if due < 2.05]
    after = [line for due, line in expected if due > 5.0]
    # The new reader misses what comes while its port settles.
    assert len(after) - 2 <= len(opened[1].lines()) <= len(after)
    assert opened[1].lines()[-1] == after[-1]


def test_at_full_speed_a_pulled_cable_only_loses_its_lines() -> None:
    unplug = Disturbance("unplug", 2.0, lasts_s=3.0)
    clock = Clock()
    terminal = FakeTerminal(clock)
    serve(Server(source_of(unplug), lambda: terminal, clock, math.inf), clock.sleep)
    assert terminal.lines() == [line for _, line in whole(unplug)]
    assert len(terminal.lines()) < len(whole()) - 25


def test_commands_are_answered_in_time() -> None:
    clock = Clock()
    terminal = FakeTerminal(clock)
    server = Server(source_of(), lambda: terminal, clock)
    while clock.now < 102.0:
        clock.sleep(server.step())
    terminal.incoming = encode_command(Command("q", 7)) + b"\n" + encode_command(Command("p", 8)) + b"\n"
    asked = clock.now
    serve(server, clock.sleep)
    replies = [(at, data) for at, data in terminal.sent if data[:1] in b"AI" and at > asked]
    assert b"".join(data for _, data in replies).count(b"\n") >= 3
    assert replies[0][1][:1] == b"I"
    assert replies[-1][1].startswith(b"A08 p")
    # PROTOCOL.md: a reply's last byte leaves the board within 100 ms of the command.
    assert replies[-1][0] - asked < 0.1


def test_progress_is_told_and_never_goes_back() -> None:
    clock = Clock()
    told: list[float] = []
    serve(Server(source_of(), lambda: FakeTerminal(clock), clock, 5.0), clock.sleep, told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(8.0, abs=0.2)


def read_all(path: str, received: list[bytes]) -> None:
    """Read a port as any program would, until the cable is pulled."""
    with serial.Serial(path, 115200, timeout=60) as port:
        while True:
            try:
                data = port.read(port.in_waiting or 1)
            except (serial.SerialException, OSError):
                return
            if not data:
                return
            received.append(data)


def test_pyserial_reads_every_byte_of_a_run_from_the_pseudo_terminal(tmp_path: Path) -> None:
    link = tmp_path / "port"
    terminal = PseudoTerminal(link)
    assert str(link.readlink()) == terminal.path
    received: list[bytes] = []
    reader = threading.Thread(target=read_all, args=(str(link), received))
    reader.start()
    clock = Clock()

    def give_way(wait_s: float) -> None:
        clock.sleep(wait_s)
        # The reader's turn; at the end as long as the program gives it: the system hands bytes over when it can.
        threading.Event().wait(wait_s if wait_s >= LOOK_S else 0.001)

    serve(Server(source_of(seconds=60.0), lambda: terminal, clock, math.inf), give_way)
    reader.join(60)
    assert not reader.is_alive()
    assert b"".join(received).split(b"\n")[:-1] == [line for _, line in whole(seconds=60.0)]
    assert not link.is_symlink()


def test_bytes_from_pyserial_reach_the_board() -> None:
    terminal = PseudoTerminal()
    with serial.Serial(terminal.path, 115200, timeout=60) as port:
        assert terminal.has_reader()
        port.write(encode_command(Command("p", 9)) + b"\n")
        port.flush()
        source = source_of()
        source.due(0.5)
        source.receive(terminal.read(), 0.5)
        answers = [line for _, line in source.due(0.6) if line.startswith(b"A")]
        assert terminal.write(answers[0] + b"\n") == len(answers[0]) + 1
        line = port.readline()
        assert decode(line.rstrip(b"\n")) is not None
        assert line.startswith(b"A09 p ")
    assert not terminal.has_reader()
    assert terminal.read() == b""
    terminal.close()


def test_a_file_in_the_way_of_the_link_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "port").write_text("mine", encoding="utf-8")
    with pytest.raises(UserError, match="left alone"):
        PseudoTerminal(tmp_path / "port")
    with pytest.raises(UserError, match="cannot be made"):
        PseudoTerminal(tmp_path / "absent" / "port")
    assert (tmp_path / "port").read_text(encoding="utf-8") == "mine"
