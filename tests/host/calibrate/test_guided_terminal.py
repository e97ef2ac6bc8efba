"""Guided calibrations as a person types them: words in, messages out, a board and a clock that do as they are told."""

import json
import os
import threading
from dataclasses import replace

import pytest

from host.calibrate.drafts import DraftFile
from host.calibrate.kinds import boom, course, meter, pressure, wheel
from host.cli.console import Console, InputEndedError
from host.cli.guided import GuidedCalibration
from host.entries import WrongEntriesError
from host.errors import UserError
from tests.host.calibrate.clocks import Clock
from tests.host.calibrate.jobs import WALKER, start
from tests.host.calibrate.rigs import rig
from tests.host.calibrate.test_counting import STILL, flowing


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

    adc_full_scale = 1023.0

    def __init__(self, *batches, trouble=""):
        self.batches, self.now_wrong = list(batches), trouble

    def reports(self):
        return self.batches.pop(0) if self.batches else []

    def trouble(self):
        return self.now_wrong


@pytest.fixture
def draft(tmp_path):
    return DraftFile(tmp_path, "Harrow Lea", "meter")


def guide(kind, draft, script, board=None, session=None):
    """The session, guided to its end."""
    session = session or start(kind)
    GuidedCalibration(session, kind.guided.name, draft, script, board).run()
    return session


# What the board counts while one catch is taken: asked before and after each line that is typed.
ONE_CATCH = [[STILL], [], flowing(1, 50), [], [], []]


def test_a_meter_from_first_word_to_last(draft):
    board = Board(*ONE_CATCH, [STILL], [], flowing(1, 10))
    script = Script("", "", "soup", "30 psi", "", "550 mL", "", "u", "f", "", "f", "y")
    session = guide(meter.KIND, draft, script, board)
    assert [(row["pulses"], row["amount"]) for row in session.rows()] == [(250, pytest.approx(0.55e-3))]
    assert "250 pulses, 50.0 Hz" in script.lives
    assert script.said[0].startswith("! Use clean water only, and wear gloves")
    assert "let the pressure off" in script.said[1]
    said = script.everything()
    assert 'The catch is "soup", which is not a number with a unit' in said
    assert 'The catch is "30 psi", which is not a volume' in said
    assert "Enter how much was caught." in said
    # 250 pulses in 0.55 L; a gallon is 3.785412 L (NIST Handbook 44).
    assert f"Catch 1 saved: 250 pulses. So far: {250 / 0.55 * 3.785412:,.1f} pulses/gal, good to ±" in said
    assert "The one in progress is dropped." in said
    assert "[1 saved; Enter starts; u undoes, f finishes]" in said
    assert said.count("! There is only one catch, so a slip in it would go unnoticed") == 2
    assert said.count("[y saves it all the same, Enter goes back]") == 2


@pytest.mark.parametrize(
    ("ends", "raised"),
    [(InputEndedError("the input ended"), UserError), (KeyboardInterrupt(), KeyboardInterrupt)],
)
def test_an_early_end_loses_nothing_and_the_next_one_resumes(draft, ends, raised):
    with pytest.raises(raised) as stopped:
        guide(meter.KIND, draft, Script("", "", "550 mL", ends=ends), Board(*ONE_CATCH))
    assert f"the one point is saved in {draft.path}; the same command resumes from there." in str(stopped.value)
    assert "\n" not in str(stopped.value)

    script = Script("what?", "", "", "", "560 mL", "f")
    session = guide(meter.KIND, draft, script, Board(*ONE_CATCH))
    assert "1 point, in" in script.everything()
    assert [row["amount"] for row in session.rows()] == pytest.approx([0.55e-3, 0.56e-3])
    assert draft.load() is not None  # until the card is saved


def test_starting_over_keeps_the_old_one_until_a_point_is_taken(draft):
    with pytest.raises(UserError):
        guide(meter.KIND, draft, Script("", "", "550 mL"), Board(*ONE_CATCH))
    before = draft.path.read_text()
    with pytest.raises(UserError, match="the one point is saved"):
        guide(meter.KIND, draft, Script("n"), Board())
    assert draft.path.read_text() == before
    with pytest.raises(UserError):
        guide(meter.KIND, draft, Script("n", "", "", "600 mL"), Board([], *ONE_CATCH))
    assert [row["amount"] for row in json.loads(draft.path.read_text())["rows"]] == pytest.approx([0.6e-3])


def test_refused_at_the_end_it_goes_on(draft):
    """Two catches that cannot be of one meter: the odd one is dropped by its number, and it can be finished."""
    script = Script("", "", "550 mL", "", "", "5.5 L", "f", "u x", "u 9", "u 2", "f", "y")
    session = guide(meter.KIND, draft, script, Board(*ONE_CATCH, *ONE_CATCH))
    assert len(session.rows()) == 1
    said = script.everything()
    assert "Catches 2 and 1 differ 10-fold" in said
    assert '"u x" names no point' in said
    assert "There is no number 9" in said
    assert "[2 saved; Enter starts; u undoes, u 2 drops number 2, f finishes]" in said


def test_catches_that_cannot_both_be_right_are_told_at_once_and_not_at_the_end(draft):
    board = Board(*ONE_CATCH, *ONE_CATCH)
    script = Script("", "", "550 mL", "", "", "55 mL")
    with pytest.raises(UserError, match="the input ended"):
        guide(meter.KIND, draft, script, board)
    assert "catches 1 and 2 differ" not in "\n".join(script.said[:-2])
    assert "Catches 1 and 2 differ 10-fold in pulses per volume" in script.everything()


def test_a_wheel_over_one_course(draft):
    script = Script("", "60 m", "")
    with pytest.raises(UserError, match="the one point is saved"):
        guide(wheel.KIND, draft, script, Board(*ONE_CATCH), start(wheel.KIND, course="60 m"))
    said = script.everything()
    assert '"60 m" means nothing here: Enter stops; u undoes.' in said
    assert "Lap 1 saved: 250 pulses. So far: 9.449 in per pulse" in said
    with pytest.raises(UserError, match=r"over a course of 60\.00 m: give that length: the one point is saved"):
        guide(wheel.KIND, draft, Script(""), Board(), start(wheel.KIND, course="50 m"))
    again = guide(wheel.KIND, draft, Script("", "f", "y"), Board(), start(wheel.KIND, course="60 m"))
    assert [row["amount"] for row in again.rows()] == [60.0]


def test_a_transducer_at_zero(draft):
    script = Script("", "", "0 psi", "f")
    session = guide(pressure.KIND, draft, script, Board([STILL], [], flowing(0, 20)))
    assert [(row["mean_counts"], row["amount"]) for row in session.rows()] == [(pytest.approx(101.0), 0.0)]
    assert "101.0 counts, mean since you started" in script.lives


def test_nothing_is_started_or_stopped_while_the_port_is_gone(draft):
    board = Board([STILL], [], flowing(1, 50))

    class Unplugged(Script):
        def ask(self, prompt, meanwhile):
            word = super().ask(prompt, meanwhile)
            board.now_wrong = "the port is gone." if word == "pull" else "" if word == "plug" else board.now_wrong
            return "" if word in ("pull", "plug") else word

    script = Unplugged("", "pull", "", "plug", "1 L", "f", "y")
    session = guide(meter.KIND, draft, script, board)
    assert script.said.count("The port is gone.") == 2
    assert [row["pulses"] for row in session.rows()] == [250]


def test_a_draft_that_cannot_be_written_is_said_and_the_calibration_goes_on(draft):
    draft.path.with_name(f".{draft.path.name}.new").mkdir(parents=True)
    script = Script("", "", "550 mL", "f", "y")
    session = guide(meter.KIND, draft, script, Board(*ONE_CATCH))
    assert len(session.rows()) == 1
    assert "The draft cannot be written" in script.everything()


def two_nozzles(clock):
    return start(boom.KIND, rig(2), clock=clock)


def test_a_boom_with_the_stopwatch_alone(draft):
    clock = Clock()
    script = Script(
        "", "30 L", "30 psi", "", 31, "", "1000 mL", "f", "", 32, "u", "", 33, "", "1010 mL",
        "45 psi", "", 30, "", "1200 mL", "u 1", "", 30, "", "1210 mL", "f", "y", clock=clock,
    )  # fmt: skip
    session = guide(boom.KIND, draft, script, session=two_nozzles(clock))
    said = script.everything()
    assert "There is no pressure from a board: enter what the gauge shows." in said
    assert 'The pressure is "30 L", which is not a pressure' in said
    assert "Nozzle 2 is missing at this pressure" in said
    assert "A catch test goes back one step at a time" in said
    assert "Caught for 33.0 s." in said
    assert "31 s" in script.lives
    assert [row["duration_s"] for row in session.rows()] == pytest.approx([31, 33, 30, 30])


def test_a_boom_left_in_the_middle_resumes_with_the_next_nozzle(draft):
    clock = Clock()
    script = Script(
        "30 psi", "", 31, "", "1 L", "", 31, "", "1 L", "40 psi", "", 31, "", "1.2 L", "", clock=clock
    )  # fmt: skip
    with pytest.raises(UserError, match="the 3 points are saved"):
        guide(boom.KIND, draft, script, session=two_nozzles(clock))
    script = Script("", "", 31, "", "1.2 L", "f", "y", clock=clock)
    session = guide(boom.KIND, draft, script, session=two_nozzles(clock))
    assert "under nozzle 2 of 2" in script.everything()
    assert [row["round"] for row in session.rows()] == [1, 1, 2, 2]
    with pytest.raises(UserError, match="does not have 1 nozzles: start over: the 4 points are saved"):
        guide(boom.KIND, draft, Script(""), session=start(boom.KIND, rig(1)))


def test_a_course_with_enter_at_each_mark(draft):
    clock = Clock()
    script = Script("", 54, "", "", 20, "u", "x", "", 56, "", clock=clock)
    with pytest.raises(UserError, match="the 2 points are saved"):
        guide(course.KIND, draft, script, session=start(course.KIND, WALKER, clock=clock, course="60 m"))
    said = script.everything()
    assert "[2 saved; Enter starts; u undoes, u 2 drops number 2, f finishes]" in said
    assert "Lap 1 saved: 54.0 s, 4.00 km/h." in said
    assert "Lap 2 saved: 56.0 s, 3.86 km/h." in said
    assert '"x" means nothing here' in said
    again = guide(course.KIND, draft, Script("", "f"), session=start(course.KIND, WALKER, course="60 m"))
    assert [row["time_s"] for row in again.rows()] == pytest.approx([54.0, 56.0])
    with pytest.raises(UserError, match=r"over a course of 60\.00 m: give that length"):
        guide(course.KIND, draft, Script(""), session=start(course.KIND, WALKER, course="50 m"))


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


def test_a_countdown_in_the_terminal_with_the_pressure_of_the_board(draft):
    """40.04 psi by the board, so Enter or t starts at once; Enter after its end is not taken for an amount."""
    clock = Clock()
    reports = [replace(STILL, pressure_mean=430 * 16)]
    board = Board(*[reports] * 40)
    script = Script("t", 20, 20, "", "", "590 mL", "", 32, "", "600 mL", "f", clock=clock)
    rig_ = rig(2)
    session = guide(boom.KIND, draft, script, board, start(boom.KIND, rig_, clock=clock, catch_for="35 s"))
    assert "t: catch for 35 s" in script.everything()
    assert "20 s left, 40.0 psi by the board" in script.lives
    rows = session.rows()
    assert [row["duration_s"] for row in rows] == [35.0, pytest.approx(32.0)]
    assert [row["by_gauge"] for row in rows] == [False, False]
    assert rows[0]["pressure_pa"] == pytest.approx(40.04 * 6894.757, rel=1e-3)


@pytest.mark.parametrize("text", ["2 s", "20 min", "30 psi"])
def test_a_countdown_that_is_none(text):
    with pytest.raises(WrongEntriesError, match="countdown"):
        start(boom.KIND, rig(2), catch_for=text)
