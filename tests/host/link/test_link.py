"""One contract for every kind of port, and what the link says when the line is not as it should be.

A port that can be told what to send joins by adding its end to ENDS: `address`, `opener`, `send`, `receive`, `unplug`,
`plug`, `close`.
"""

from __future__ import annotations

import errno
import os
import random
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import serial

from firmware_protocol.messages import (
    Ack,
    Capability,
    Command,
    FilterRule,
    State,
    encode_command,
    encode_reply,
    encode_state,
    filter_argument,
)
from host.errors import BadInputError, NoAnswerError, NotFoundError, NotNowError, UserError
from host.link import LineRead, Link, LinkChange, open_port
from tests.host.link.boards import AnsweringBoard, LoopEnd, PtyEnd, SocketEnd, identity, report
from tests.host.link.telnet_end import Rfc2217End

ENDS = {"pty": PtyEnd, "socket": SocketEnd, "loop": LoopEnd, "rfc2217": Rfc2217End}


@pytest.fixture(params=ENDS)
def end(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Any]:
    made = ENDS[request.param](tmp_path)
    yield made
    made.close()


@pytest.fixture
def link(end: Any) -> Iterator[Link]:
    made = Link(end.address, end.opener, retry_s=0.01)
    yield made
    made.stop()


def until(condition: Callable[[], bool], wait_s: float = 60.0) -> None:
    """Wait for another thread to bring `condition` about."""
    deadline = time.monotonic() + wait_s
    while not condition():
        assert time.monotonic() < deadline, "it never came about"
        time.sleep(0.002)


def all_items(link: Link) -> list[LineRead | LinkChange]:
    items = []
    while (item := link.items.get(timeout=60)) is not None:
        items.append(item)
    return items


def raws(items: list[LineRead | LinkChange]) -> list[bytes]:
    return [item.raw for item in items if isinstance(item, LineRead)]


def test_lines_come_out_as_they_went_in(end: Any, link: Link) -> None:
    link.start()
    sent = b"".join(report(seq) for seq in range(500))
    cutter = random.Random(5)
    start = 0
    while start < len(sent):
        step = cutter.randint(1, 300)
        end.send(sent[start : start + step])
        start += step
    until(lambda: link.lines == 500)
    assert link.state == "ok" and link.wire_damage == 0
    link.stop()
    items = all_items(link)
    assert raws(items) == sent.splitlines()
    stamps = [item.stamp for item in items]
    assert stamps == sorted(stamps)


def test_damaged_lines_are_handed_on_too(end: Any, link: Link) -> None:
    link.start()
    end.send(report(1) + b"\x00\xff noise\r\n" + report(2) + b"R07 unfin")
    until(lambda: link.lines == 3)
    link.stop()
    assert raws(all_items(link)) == [report(1)[:-1], b"\x00\xff noise", report(2)[:-1], b"R07 unfin"]
    assert link.wire_damage == 2


def test_stopping_takes_what_has_already_arrived(end: Any, link: Link) -> None:
    link.start()
    for seq in range(40):
        end.send(report(seq))
    link.stop()
    assert raws(all_items(link)) == [report(seq)[:-1] for seq in range(40)]


def test_identity_is_asked_for_and_commands_are_acknowledged(end: Any, link: Link) -> None:
    with AnsweringBoard(end) as board:
        link.start()
        link.wait_for_board(60)
        assert link.identity is not None and link.identity.name == "bench"
        ack = link.command("n", 200)
        assert (ack.command, ack.value) == ("n", 200)
        assert link.command("o", 0x120005).value == 0x120005
    assert board.heard[0] == "q" and board.heard[-2:] == ["n", "o"]


def test_tags_of_commands_go_round(end: Any, link: Link) -> None:
    """PROTOCOL.md, section 7: 01 to FF and round again; a 256th tag would be no command."""
    with AnsweringBoard(end) as board:
        link.start()
        for _ in range(257):
            assert link.command("p").command == "p"
    assert board.heard.count("p") == 257


def test_a_command_is_sent_again_when_no_reply_comes(end: Any, link: Link) -> None:
    with AnsweringBoard(end, deaf_for=1) as board:
        link.start()
        assert link.command("p").command == "p"
    assert board.heard.count("p") == 2


def test_a_refused_command_says_why(end: Any, link: Link) -> None:
    with AnsweringBoard(end, refuse=0x05):
        link.start()
        with pytest.raises(UserError, match="not fitted on this board"):
            link.command("o", 1)


def test_a_board_that_does_not_answer_gets_a_sentence(end: Any, link: Link) -> None:
    link.start()
    with pytest.raises(UserError, match="does not answer"):
        link.command("p")


def test_unplugged_and_plugged_in_again(end: Any, link: Link) -> None:
    with AnsweringBoard(end) as board:
        link.start()
        link.wait_for_board(60)
        for seq in range(5):
            end.send(report(seq))
        until(lambda: link.lines >= 6)
        end.unplug()
        until(lambda: link.items.qsize() >= 7)
        end.plug()
        until(lambda: link.identity is not None and board.heard.count("q") >= 2 and link.state != "lost")
        for seq in range(50, 55):
            end.send(report(seq))
        until(lambda: link.lines >= 12)
    link.stop()
    items = all_items(link)
    changes = [item.kind for item in items if isinstance(item, LinkChange)]
    assert changes == ["link_lost", "link_back"]
    numbers = [raw[4:8] for raw in raws(items) if raw.startswith(b"R")]
    assert numbers == [b"%04X" % seq for seq in (*range(5), *range(50, 55))]


def test_a_port_that_is_back_and_cannot_be_opened_says_why(tmp_path: Path) -> None:
    """Unplugged is said by the state; a port taken by another program meanwhile does not mend itself."""
    end = PtyEnd(tmp_path)
    wrong: list[UserError] = []

    def opener(address: str) -> Any:
        if wrong:
            raise wrong[0]
        return open_port(address)

    link = Link(end.address, opener, retry_s=0.01)
    link.start()
    wrong.append(NotFoundError("there is no port"))
    end.unplug()
    until(lambda: link.state == "lost")
    assert link.trouble == ""
    wrong[0] = NotNowError("port X is in use by another program")
    until(lambda: link.trouble == "port X is in use by another program")
    end.plug()
    wrong.clear()
    until(lambda: link.state != "lost")
    assert link.trouble == ""
    link.stop()
    end.close()


def test_a_new_start_of_the_board_is_told(end: Any, link: Link) -> None:
    link.start()
    end.send(report(1, boot=7) + report(2, boot=7) + identity(boot=8) + report(0, boot=8))
    until(lambda: link.lines == 4)
    link.stop()
    told = [item for item in all_items(link) if isinstance(item, LinkChange)]
    assert [(item.kind, item.detail) for item in told] == [("board_start", {"boot": 8})]


def test_a_board_without_a_voice_gets_a_sentence(end: Any, link: Link) -> None:
    link.start()
    said: list[str] = []
    with pytest.raises(UserError, match=r"no board is heard.*power"):
        link.wait_for_board(0.1, say=said.append)
    assert said == [f"Nothing comes from {link.address} yet: is it the right port, has the board power?"]


def test_a_wrong_baud_rate_gets_a_sentence(end: Any, link: Link) -> None:
    link.start()
    end.send(b"\xf8\x00\x80\x1f\xe0" * 200)
    until(lambda: link.bytes_read == 1_000)
    with pytest.raises(UserError, match="cannot be read: set the board to 115200 or 250000 baud"):
        link.wait_for_board(0.1)
    assert link.state == "unreadable"


def test_another_protocol_gets_a_sentence(end: Any, link: Link) -> None:
    link.start()
    end.send(identity(protocol="2.0") + report(1))
    with pytest.raises(UserError, match=r"speaks protocol 2\.0 and this Swardflow speaks 1"):
        link.wait_for_board(60)
    assert link.state == "wrong protocol"
    link.wait_for_board(10, any_protocol=True)  # as a recorder does: what cannot be read can be kept


def test_reports_without_an_identity_will_do(end: Any, link: Link) -> None:
    """A line that only comes in, such as a radio without a way back."""
    link.start()
    end.send(report(1))
    link.wait_for_board(60)
    assert link.state == "ok" and link.identity is None


def test_the_state_follows_the_clock(tmp_path: Path) -> None:
    now = [50.0]
    end = PtyEnd(tmp_path)
    link = Link(end.address, clock=lambda: now[0])
    link.start()
    end.send(report(1))
    until(lambda: link.lines == 1)
    assert (link.state, link.quiet_s) == ("ok", 0.0)
    now[0] += 2.0
    assert (link.state, link.quiet_s) == ("ok", 2.0)
    now[0] += 1.0
    assert link.state == "silent"
    link.stop()
    assert link.state == "lost"
    end.close()


def test_a_port_opened_twice_gets_a_sentence(tmp_path: Path) -> None:
    end = PtyEnd(tmp_path)
    first = open_port(end.address)
    with pytest.raises(UserError, match="in use by another program"):
        open_port(end.address)
    first.close()
    open_port(end.address).close()
    end.close()


@pytest.mark.parametrize(
    ("address", "kind", "words"),
    [
        ("", BadInputError, "no port was given: name one"),
        ("/dev/ttyNOWHERE9", NotFoundError, "there is no port /dev/ttyNOWHERE9: plug the board in"),
        ("socket://127.0.0.1:1", NoAnswerError, "nothing answers at socket://127.0.0.1:1: check the address"),
        ("socket://127.0.0.1", NoAnswerError, "nothing answers at socket://127.0.0.1: check the address"),
        ("wurst://x", BadInputError, "wurst://x is no kind of port known here"),
        ("/dev/null", BadInputError, "/dev/null is no serial port"),
        ("/", BadInputError, "/ is no serial port"),
    ],
)
def test_ports_that_cannot_be_opened_get_a_sentence(address: str, kind: type[UserError], words: str) -> None:
    with pytest.raises(kind) as caught:
        open_port(address)
    assert words in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.EACCES, "you may not open port {}: add yourself to the group"),
        (errno.EBUSY, "port {} is in use by another program"),
        (errno.ENXIO, "port {} does not answer: unplug the board"),
    ],
)
def test_what_the_system_says_becomes_a_sentence(
    code: int, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """These need a second user or broken hardware, so pyserial's way of telling them stands in for both."""

    def refuse(*_: object, **__: object) -> None:
        raise serial.SerialException(code, f"could not open port: {os.strerror(code)}")

    monkeypatch.setattr(serial, "serial_for_url", refuse)
    address = str(tmp_path / "ttyUSB0")
    Path(address).touch()
    with pytest.raises(UserError) as caught:
        open_port(address)
    assert words.format(address) in str(caught.value)


def next_asked(end: Any) -> bytes:
    got: list[bytes] = []
    until(lambda: bool(got.append(end.receive()) or got[-1]))
    return got[-1]


def test_filters_are_sent_one_at_a_time_until_the_board_has_them_and_never_to_one_that_cannot(tmp_path: Path) -> None:
    end = LoopEnd(tmp_path)
    reed = filter_argument(Capability.WHEEL, FilterRule.REST, 8_000)
    encoder = filter_argument(Capability.FLOW, FilterRule.SPACING, 50)
    link = Link(end.address, end.opener, filters=(encoder, reed))
    link.start()
    end.send(identity() + report(1))  # version 1.0 has no state line
    until(lambda: link.lines == 2)
    assert next_asked(end)[:3] == b"q00"
    usual = State(7, 1000, 0, 0, 0, 100, 0, 0, 0, 400, 5000)
    end.send(encode_state(usual) + b"\n")
    first, second = (encode_command(Command("f", 0, wanted)) + b"\n" for wanted in (encoder, reed))
    assert next_asked(end) == first
    end.send(encode_state(usual) + b"\n" + encode_reply(Ack(0, "f", encoder)) + b"\n")
    assert next_asked(end) == second
    end.send(encode_reply(Ack(0, "f", reed)) + b"\n")  # which are in force only a state line says
    assert next_asked(end) == encode_command(Command("q", 0)) + b"\n"
    taken = replace(usual, flow_filter=50, wheel_rule=1, wheel_filter=8_000)
    end.send(encode_state(taken) + b"\n" + identity())
    until(lambda: link.lines == 8)
    assert not link.deaf
    link.stop()
    assert not end._commands
    end.close()


def test_the_other_speed_is_tried_while_all_is_damage_and_kept_once_the_board_is_heard(tmp_path: Path) -> None:
    now = [50.0]
    end = LoopEnd(tmp_path)
    link = Link(end.address, end.opener, clock=lambda: now[0])
    link.start()
    for bauds in ([], [250_000], [250_000, 115_200], [250_000, 115_200, 250_000]):
        heard = link.bytes_read
        end.send(b"\xf8\x00\x80\n" * 20)
        until(lambda heard=heard: link.bytes_read >= heard + 60)
        until(lambda bauds=bauds: end.bauds == bauds)
        now[0] += 1.6
    end.send(report(1))
    until(lambda: link.state == "ok")
    now[0] += 1.6
    end.send(b"\xf8\x00\x80\n" * 20)
    until(lambda: link.wire_damage > 80)
    assert len(end.bauds) in (3, 4)  # the last look before the report may have changed it once more
    link.stop()
    end.close()
