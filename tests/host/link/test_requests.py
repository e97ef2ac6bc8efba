"""Commands nobody waits for: one on its way at a time, tried again, given up, and a deaf board known as one."""

from firmware_protocol.messages import Ack, Refusal
from host.link.requests import Requests


class Line:
    """Requests on a line and a clock of its own."""

    def __init__(self):
        self.sent, self.now_s = [], 100.0
        self.requests = Requests(lambda line: self.sent.append(line[:3].decode()), lambda: self.now_s, 0.5)

    def after(self, seconds):
        self.now_s += seconds
        self.requests.tick()


def test_the_next_goes_out_only_after_the_reply():
    line = Line()
    line.requests.add("q", tries=1)
    line.requests.add("f", 0x100064, tries=3)
    line.requests.add("f", 0x211F40, tries=3)
    line.after(0.4)
    assert line.sent == ["q00"]
    assert line.requests.take(Ack(0, "q", 0)) == "q"
    assert line.sent == ["q00", "f00"] and line.requests.pending
    assert line.requests.take(Ack(9, "f", 0)) == "" and len(line.sent) == 2  # somebody else's
    assert line.requests.take(Refusal(0, 2)) == "f" and len(line.sent) == 3
    line.requests.take(Ack(0, "f", 0x211F40))
    assert not line.requests.pending


def test_what_is_asked_already_is_not_asked_twice():
    line = Line()
    for _ in range(3):
        line.requests.add("f", 0x211F40, tries=3)
    line.requests.take(Ack(0, "f", 0x211F40))
    assert line.sent == ["f00"]


def test_a_lost_reply_costs_a_try_and_a_broken_checksum_too():
    line = Line()
    line.requests.add("f", 0x211F40, tries=3)
    line.requests.take(Refusal(0, 1))
    line.after(0.6)
    assert line.sent == ["f00"] * 3
    line.after(0.6)
    assert not line.requests.pending and len(line.sent) == 3 and not line.requests.deaf


def test_a_board_that_never_answers_is_deaf_until_it_does():
    line = Line()
    for _ in range(2):
        line.requests.add("f", 0x211F40, tries=3)
        for _ in range(3):
            line.after(0.6)
    assert line.requests.deaf
    line.requests.add("f", 0x211F40, tries=3)
    line.requests.take(Ack(0, "f", 0x211F40))
    assert not line.requests.deaf


def test_while_a_command_waits_for_its_reply_nothing_new_goes_out():
    line = Line()
    line.requests.held = True
    line.requests.add("q", tries=1)
    line.after(1.0)
    assert line.sent == []
    line.requests.held = False
    line.after(0.0)
    assert line.sent == ["q00"]
