"""The guided commands as a person types them: words in, sentences out, a board and a clock that do as they are told."""

import json
import os
import threading

import pytest

from host.calibrate.amounts import AmountReader
from host.calibrate.boom_guide import BoomGuide
from host.calibrate.course_guide import CourseGuide
from host.calibrate.drafts import DraftFile
from host.calibrate.guide import Guide
from host.calibrate.meter import MeterCatch, calibrate_meter
from host.calibrate.vessels import JUG
from host.cli.console import Console, InputEndedError
from host.cli.guided_loop import NoBoard, guide_through
from host.cli.guided_sessions import BoomTalk, CountsTalk, CourseTalk
from host.errors import UserError
from tests.host.calibrate.clocks import Clock
from tests.host.calibrate.test_guide import STILL, flowing

READ = AmountReader()


class Script:
    """A terminal whose user types what is written down; a number instead lets so many seconds pass."""

    def __init__(self, *words, clock=None, ends=None):
        self.words, self.said, self.lives, self._clock = list(words), [], [], clock
        self._ends = ends or InputEndedError("the input ended")

    def say(self, text):
        self.said.append(text)

    def ask(self, prompt, meanwhile):
        self.said.append(prompt)
        self.lives.append(meanwhile())
        while self.words and not isinstance(self.words[0], str):
            self._clock.go_on(self.words.pop(0))
            self.lives.append(meanwhile())
        if not self.words:
            raise self._ends
        return self.words.pop(0)

    def everything(self):
        return "\n".join(self.said)


class Board:
    """Gives a batch of reports whenever it is asked."""

    def __init__(self, *batches, trouble=""):
        self.batches, self.now_wrong = list(batches), trouble

    def reports(self):
        return self.batches.pop(0) if self.batches else []

    def trouble(self):
        return self.now_wrong


@pytest.fixture
def draft(tmp_path):
    return DraftFile(tmp_path, "Harrow Lea", "meter")


def so_far(taken):
    return (
        f"{calibrate_meter([MeterCatch(one.pulses, one.amount, JUG, None) for one in taken]).curve[0][1]:.0f} per m3."
    )


def meter(board):
    return CountsTalk(Guide("flow"), board, lambda text: READ.read(text, "the catch"), so_far)


# What the board counts while one catch is taken: asked before and after each line that is typed.
ONE_CATCH = [[STILL], [], flowing(1, 50), [], [], []]


def test_a_meter_from_first_word_to_last(draft):
    board = Board(*ONE_CATCH, [STILL], [], flowing(1, 10))
    script = Script("", "", "soup", "30 psi", "550 mL", "", "u", "f")
    talk = meter(board)
    guide_through(talk, board, draft, script)
    assert [(one.pulses, one.amount) for one in talk.guide.taken] == [(250, pytest.approx(0.55e-3))]
    assert "250 pulses, 50.0 Hz" in script.lives
    assert script.said[0].startswith("! Use clean water only, and wear gloves")
    assert "let the pressure off" in script.said[1]
    said = script.everything()
    assert 'The catch is "soup", which is not a number with a unit' in said
    assert 'The catch is "30 psi", which is not a volume' in said
    assert "Taken: 250 pulses in 5.00 s. 454545 per m3." in said
    assert "The one that was running is dropped." in said
    assert "[1 taken; Enter begins, u undoes, f finishes]" in said


@pytest.mark.parametrize(
    ("ends", "raised"),
    [(InputEndedError("the input ended"), UserError), (KeyboardInterrupt(), KeyboardInterrupt)],
)
def test_an_early_end_loses_nothing_and_the_next_one_goes_on(draft, ends, raised):
    board = Board(*ONE_CATCH)
    with pytest.raises(raised) as stopped:
        guide_through(meter(board), board, draft, Script("", "", "550 mL", ends=ends))
    assert f"the one taken is kept in {draft.path}; the same command goes on from there." in str(stopped.value)
    assert "\n" not in str(stopped.value)

    board = Board(*ONE_CATCH)
    talk, script = meter(board), Script("what?", "", "", "", "560 mL", "f")
    guide_through(talk, board, draft, script)
    assert "there is one unfinished, 1 taken" in script.everything()
    assert [one.amount for one in talk.guide.taken] == pytest.approx([0.55e-3, 0.56e-3])
    assert draft.load() is not None  # until the card is kept


def test_beginning_anew_keeps_the_old_one_until_something_is_taken(draft):
    board = Board(*ONE_CATCH)
    with pytest.raises(UserError):
        guide_through(meter(board), board, draft, Script("", "", "550 mL"))
    before = draft.path.read_text()
    with pytest.raises(UserError, match="the one taken is kept"):
        guide_through(meter(Board()), Board(), draft, Script("n"))
    assert draft.path.read_text() == before
    board = Board([], *ONE_CATCH)
    with pytest.raises(UserError):
        guide_through(meter(board), board, draft, Script("n", "", "", "600 mL"))
    assert [row["amount"] for row in json.loads(draft.path.read_text())["rows"]] == pytest.approx([0.6e-3])


def test_refused_at_the_end_it_goes_on(draft):
    """Two catches that cannot be of one meter: the odd one is dropped by its number, and it can be finished."""
    board = Board(*ONE_CATCH, *ONE_CATCH)
    talk, script = meter(board), Script("", "", "550 mL", "", "", "5.5 L", "f", "u x", "u 9", "u 2", "f")
    guide_through(talk, board, draft, script)
    assert len(talk.guide.taken) == 1
    said = script.everything()
    assert "Catches 2 and 1 differ 10-fold" in said
    assert '"u x" names no catch' in said
    assert "There is no number 9" in said


def test_a_wheel_over_one_course_and_a_transducer_at_zero(draft):
    def wheel(metres, board):
        return CountsTalk(Guide("wheel"), board, lambda _: metres, lambda taken: f"{len(taken)} so far.")

    board = Board(*ONE_CATCH)
    script = Script("", "", "60 m", "")
    with pytest.raises(UserError, match="the one taken is kept"):
        guide_through(wheel(60.0, board), board, draft, script)
    said = script.everything()
    assert '"60 m" means nothing here: Enter takes the pass; u undoes.' in said
    assert "Taken: 250 pulses in 5.00 s. 1 so far." in said
    with pytest.raises(UserError, match=r"over a course of 60\.00 m: give that one with --course"):
        guide_through(wheel(50.0, board), board, draft, Script(""))
    again = wheel(60.0, board)
    guide_through(again, board, draft, Script("", "f"))
    assert [one.amount for one in again.guide.taken] == [60.0]

    draft.drop()
    board = Board([STILL], [], flowing(0, 20))
    transducer = CountsTalk(Guide("pressure"), board, float, lambda taken: "")
    script = Script("", "", "0", "f")
    guide_through(transducer, board, draft, script)
    assert [(one.mean_counts, one.amount) for one in transducer.guide.taken] == [(pytest.approx(101.0), 0.0)]
    assert "101.0 counts" in script.lives


def test_nothing_is_begun_or_ended_while_the_port_is_gone(draft):
    board = Board([STILL], [], flowing(1, 50))
    talk = meter(board)

    class Unplugged(Script):
        def ask(self, prompt, meanwhile):
            word = super().ask(prompt, meanwhile)
            board.now_wrong = "the port is gone." if word == "pull" else "" if word == "plug" else board.now_wrong
            return "" if word in ("pull", "plug") else word

    script = Unplugged("", "pull", "", "plug", "1 L", "f")
    guide_through(talk, board, draft, script)
    assert script.said.count("The port is gone.") == 2
    assert [one.pulses for one in talk.guide.taken] == [250]


def test_a_draft_that_cannot_be_written_is_said_and_the_guide_goes_on(draft):
    draft.path.with_suffix(".draft-new").mkdir(parents=True)
    board = Board(*ONE_CATCH)
    talk, script = meter(board), Script("", "", "550 mL", "f")
    guide_through(talk, board, draft, script)
    assert len(talk.guide.taken) == 1
    assert "The draft cannot be written" in script.everything()


def boom(clock, judge=lambda guide: None):
    return BoomTalk(BoomGuide(2, clock), READ, "us", judge)


def test_a_boom_with_the_stopwatch_alone(draft):
    clock = Clock()
    talk = boom(clock)
    script = Script(
        "", "30 L", "30 psi", "", 31, "", "1000 mL", "f", "", 32, "u", "", 33, "", "1010 mL",
        "45 psi", "", 30, "", "1200 mL", "u 1", "", 30, "", "1210 mL", "f", clock=clock,
    )  # fmt: skip
    guide_through(talk, NoBoard(), draft, script)
    said = script.everything()
    assert "No board tells the pressure: enter what the gauge shows." in said
    assert 'The gauge is "30 L", which is not a pressure' in said
    assert "Nozzle 2 is missing at this pressure" in said
    assert "A catch test goes back one step at a time" in said
    assert "Caught for 33.0 s." in said
    assert "31 s" in script.lives
    assert [one.times_s for one in talk.guide.catches()] == [pytest.approx((31, 33)), pytest.approx((30, 30))]


def test_a_boom_left_in_the_middle_goes_on_with_the_next_nozzle(draft):
    clock = Clock()
    with pytest.raises(UserError, match="the 3 taken are kept"):
        guide_through(
            boom(clock), NoBoard(), draft,
            Script("30 psi", "", 31, "", "1 L", "", 31, "", "1 L", "40 psi", "", 31, "", "1.2 L", "", clock=clock),
        )  # fmt: skip
    talk, script = boom(clock), Script("", "", 31, "", "1.2 L", "f", clock=clock)
    guide_through(talk, NoBoard(), draft, script)
    assert "under nozzle 2 of 2" in script.everything()
    assert [len(one.volumes_m3) for one in talk.guide.catches()] == [2, 2]
    smaller = BoomTalk(BoomGuide(1, clock), READ, "us", lambda guide: None)
    with pytest.raises(UserError, match="has not 1 nozzles: begin anew with n: the 4 taken are kept"):
        guide_through(smaller, NoBoard(), draft, Script(""))


def test_a_course_with_enter_at_each_mark(draft):
    clock = Clock()

    def talk():
        return CourseTalk(CourseGuide(60.0, clock), "metric", lambda guide: None)

    script = Script("", 54, "", "", 20, "u", "x", "", 56, "", clock=clock)
    with pytest.raises(UserError, match="the 2 taken are kept"):
        guide_through(talk(), NoBoard(), draft, script)
    said = script.everything()
    assert "[2 taken; Enter begins, u undoes, u 2 drops number 2, f finishes]" in said
    assert "Pass 1: 54.0 s, 4.00 km/h." in said
    assert "Pass 2: 56.0 s, 3.86 km/h. Your passes vary by 2.6 %." in said
    assert '"x" means nothing here' in said
    again, script = talk(), Script("", "f")
    guide_through(again, NoBoard(), draft, script)
    assert again.guide.times_s == pytest.approx([54.0, 56.0])
    other = CourseTalk(CourseGuide(50.0, clock), "metric", lambda guide: None)
    with pytest.raises(UserError, match=r"over a course of 60\.00 m: give that one with --course"):
        guide_through(other, NoBoard(), draft, Script(""))


def test_the_terminal_reads_lines_that_came_at_once_and_lines_that_come_later(tmp_path):
    keys, hand = os.pipe()
    with (tmp_path / "out").open("w") as out:
        console = Console(out, keys)
        os.write(hand, b"one\ntwo\nth")
        assert [console.ask("? ", lambda: ""), console.ask("? ", lambda: "")] == ["one", "two"]
        meanwhile = threading.Event()

        def live():
            if not meanwhile.is_set():
                meanwhile.set()
                os.write(hand, "ree é\n".encode())
            return "12 pulses"

        assert console.ask("? ", live) == "three é"
        assert meanwhile.is_set()
        os.close(hand)
        with pytest.raises(InputEndedError):
            console.ask("? ", lambda: "")
    os.close(keys)
    assert "12 pulses" not in (tmp_path / "out").read_text()  # only where a person looks on


def test_live_figures_leave_alone_what_is_being_typed(tmp_path):
    hand, keys = os.openpty()
    with (tmp_path / "out").open("w") as out:
        console = Console(out, keys)
        figures = iter(["12 pulses", "12 pulses", "19 pulses" + 90 * "."])

        def live():
            text = next(figures)
            if "19" in text:
                os.write(hand, b"1.3 L\n")
            return text

        assert console.ask("?", live) == "1.3 L"
    for end in (hand, keys):
        os.close(end)
    above = "\x1b7\x1b[A\r\x1b[K"
    said = (tmp_path / "out").read_bytes().decode()
    assert said == f"?\n\n> {above}12 pulses\x1b8{above}{'19 pulses' + 70 * '.'}\x1b8"
