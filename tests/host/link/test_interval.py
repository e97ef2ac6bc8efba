"""A rig file that asks for a report interval: the board is asked at each of its starts, never more than a few times."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firmware_protocol.messages import (
    Ack,
    Command,
    Identity,
    Refusal,
    encode_identity,
    encode_reply,
)
from host.link import Link, LinkChange
from host.rig.against_board import interval_not_taken
from tests.host.link.boards import ListeningBoard, LoopEnd, PtyEnd, SocketEnd, report
from tests.host.recorder.feeding import until

ENDS = {"pty": PtyEnd, "socket": SocketEnd, "loop": LoopEnd}
WHO = Identity(7, "1.1", "bench", "1.1.0", 1023, 100, 0x3F, "P")


class AskedBoard(ListeningBoard):
    """Goes by 100 ms at each start. To `n` it says what `answer` makes of it, and does as that says."""

    def __init__(self, end: Any, answer: Any = None, protocol: str = "1.1", interval_ms: int = 100) -> None:
        super().__init__(end)
        self.who = replace(WHO, protocol=protocol, interval_ms=interval_ms)
        self.asked: list[Command] = []
        self._answer = answer or (lambda command: Ack(command.tag, "n", command.argument))

    def restart(self, *, heard: bool = True) -> None:
        """Begin again at 100 ms; the identity line is damaged on the way where it is not `heard`."""
        self.who = replace(self.who, boot=self.who.boot + 1, interval_ms=100)
        line = encode_identity(self.who)
        self._end.send((line if heard else line.replace(b"bench", b"bEnch")) + b"\n" + report(0, self.who.boot))

    def say_who(self) -> None:
        """The identity line, as once a minute."""
        self._end.send(encode_identity(self.who) + b"\n")

    def take(self, command: Command) -> None:
        """Say who it is, or reply to the asking."""
        if command.letter == "q":
            self.say_who()
            self._end.send(encode_reply(Ack(command.tag, "q", 0)) + b"\n")
        elif command.letter == "n":
            self.asked.append(command)
            if (reply := self._answer(command)) is None:
                return
            self._end.send(encode_reply(reply) + b"\n")
            if isinstance(reply, Ack):
                self.who = replace(self.who, interval_ms=reply.value)
                if self.who.protocol != "1.0":
                    self.say_who()


@pytest.fixture(params=ENDS)
def end(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Any]:
    made = ENDS[request.param](tmp_path)
    yield made
    made.close()


@pytest.fixture
def loop(tmp_path: Path) -> LoopEnd:
    return LoopEnd(tmp_path)


def asking(end: Any, wanted_ms: int | None = 50) -> Link:
    link = Link(end.address, end.opener, retry_s=0.01)
    link.interval.wanted_ms = wanted_ms
    return link


def said_ms(link: Link) -> int | None:
    return link.identity.interval_ms if link.identity else None


def test_a_board_is_asked_at_its_start_after_a_restart_and_when_it_is_plugged_in_again(end: Any) -> None:
    link = asking(end)
    with AskedBoard(end) as board:
        link.start()
        until(lambda: said_ms(link) == 50)
        board.restart()
        until(lambda: said_ms(link) == 50 and link.identity.boot == 8)
        assert [command.argument for command in board.asked] == [50, 50]
        assert not link.interval.not_taken
        end.unplug()
        until(lambda: any(isinstance(one, LinkChange) and one.kind == "link_lost" for one in taken(link)))
        board.who = replace(WHO, boot=board.who.boot)  # another board, that happens to have the same start number
        end.plug()
        until(lambda: len(board.asked) == 3 and said_ms(link) == 50)
    link.stop()


def taken(link: Link) -> list[Any]:
    return [link.items.get() for _ in range(link.items.qsize())]


def test_who_has_not_said_it_after_a_restart_is_asked_who_it_is_and_then_for_the_interval(loop: LoopEnd) -> None:
    link = asking(loop)
    with AskedBoard(loop) as board:
        link.start()
        until(lambda: said_ms(link) == 50)
        board.restart(heard=False)
        until(lambda: said_ms(link) == 50 and link.identity.boot == 8)
    link.stop()


def test_a_board_of_version_1_0_says_the_new_interval_when_it_is_asked_who_it_is(loop: LoopEnd) -> None:
    link = asking(loop)
    with AskedBoard(loop, protocol="1.0") as board:
        link.start()
        until(lambda: said_ms(link) == 50)
        assert len(board.asked) == 1
    link.stop()


@pytest.mark.parametrize(("wanted_ms", "does_ms"), [(None, 100), (50, 50), (100, 100)])
def test_nothing_is_sent_where_nothing_is_asked_for_or_the_board_does_it_already(
    wanted_ms: int | None, does_ms: int, loop: LoopEnd
) -> None:
    link = asking(loop, wanted_ms)
    with AskedBoard(loop, interval_ms=does_ms) as board:
        link.start()
        for _ in range(3):
            board.say_who()
        until(lambda: link.lines >= 4)
        assert not board.asked and not link.interval.not_taken
    link.stop()


ANSWERS = {  # what the board says to `n`: how often it is asked in all, what it goes on at
    "refuses": (lambda command: Refusal(command.tag, 0x03), 1, 100),
    "knows no such command": (lambda command: Refusal(command.tag, 0x02), 1, 100),
    "hears it damaged": (lambda command: Refusal(command.tag, 0x01), 6, 100),
    "does not answer": (lambda command: None, 6, 100),
    "takes another": (lambda command: Ack(command.tag, "n", 40), 2, 40),
}


@pytest.mark.parametrize("name", ANSWERS)
def test_a_board_that_does_not_take_it_is_said_in_one_sentence_and_left_alone(name: str, loop: LoopEnd) -> None:
    answer, most, goes_on_ms = ANSWERS[name]
    now = [100.0]
    link = Link(loop.address, loop.opener, clock=lambda: now[0])
    link.interval.wanted_ms = 50
    with AskedBoard(loop, answer) as board:
        link.start()
        until(lambda: bool(board.asked))
        for _ in range(12):  # ten minutes, with an identity line in each
            for _ in range(4):
                now[0] += 0.6
                lines = link.lines
                loop.send(report(1))
                until(lambda lines=lines: link.lines > lines)
                threading.Event().wait(0.02)  # for the link to look at the clock, whose reply has been given up
            board.say_who()
            now[0] += 60.0
        until(lambda: link.interval.not_taken)
        assert len(board.asked) == most
        assert link.interval.in_force_ms == goes_on_ms
        assert link.interval.refused == (name in ("refuses", "knows no such command"))
        assert not link.deaf
    link.stop()


def test_the_sentence() -> None:
    assert interval_not_taken(50, 100, refused=True) == (
        "The rig file asks for a report every 50 ms; the board refuses, and reports every 100 ms. Volume, area and "
        "rate are as good, and a fault is said 0.05 s later."
    )
    assert interval_not_taken(50, 40).endswith("reports every 40 ms. Volume, area and rate are as good.")
