"""The guided commands as processes of their own: a board on a pseudo-terminal, keys typed, cards kept."""

import json
import os
import re
import select
import signal
import subprocess
import sys
import threading
import time
from datetime import datetime
from importlib.resources import files

import pytest

from firmware_protocol.messages import Report, encode_report
from host.calibrate.cards import active_cards, load_cards
from host.calibrate.drafts import DraftFile
from host.calibrate.kinds import KINDS
from host.calibrate.tools import keep_tools
from tests.host.link.boards import PtyEnd, identity

EXAMPLES = files("host.rig").joinpath("examples")
US, METRIC = (str(EXAMPLES / f"harrow-lea-{name}.toml") for name in ("pull-behind", "walker"))
NOON = datetime(2026, 5, 14, 12, 0, 5)
PSI = 6894.757293168361
WAIT_S = 60.0


def command(*words):
    return [sys.executable, "-m", "host.cli.main", "calibrate", *words]


def typed(keys, *words):
    """Run with all keys typed ahead: exit code, what was printed, what was said on the error stream."""
    done = subprocess.run(command(*words), input=keys, capture_output=True, text=True, timeout=WAIT_S, check=False)
    return done.returncode, done.stdout, done.stderr


class Board:
    """Ten reports a second, of a flow that can be let run: 10 ms from pulse to pulse."""

    def __init__(self, folder):
        self.end, self.pulses, self._seq = PtyEnd(folder), 0, 0
        self._left = 0
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def let_run(self, pulses):
        self._left = pulses

    def close(self):
        self._over.set()
        self._thread.join()
        self.end.close()

    def _run(self):
        while not self._over.wait(0.05):
            now = min(self._left, 50)
            self.pulses, self._left, self._seq = self.pulses + now, self._left - now, self._seq + 1
            clock = self._seq * 100_000
            edge = 10_000 * self.pulses
            line = encode_report(Report(3, self._seq, clock, self.pulses, edge, 0, 0, 6880, 430, 430, 0, 0, 0))
            self.end.receive(0.0)
            self.end.send((identity(3) if self._seq % 10 == 1 else b"") + line + b"\n")


class Session:
    """A person at a terminal: types, and waits for what is printed."""

    def __init__(self, *words):
        self.keys, slave = os.openpty()
        self.process = subprocess.Popen(command(*words), stdin=slave, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        os.close(slave)
        self.printed = ""

    def wait_for(self, text):
        deadline = time.monotonic() + WAIT_S
        while text not in self.printed:
            assert time.monotonic() < deadline, self.printed
            if select.select([self.process.stdout], [], [], 0.1)[0]:
                data = os.read(self.process.stdout.fileno(), 4096)
                assert data, self.printed
                self.printed += data.decode()
        self.printed = self.printed.split(text, 1)[1]

    def type(self, text):
        os.write(self.keys, f"{text}\n".encode())

    def end(self):
        rest, _ = self.process.communicate(timeout=WAIT_S)
        os.close(self.keys)
        self.printed += rest.decode()
        return self.process.returncode


@pytest.fixture
def board(tmp_path):
    made = Board(tmp_path)
    yield made
    made.close()


def test_a_meter_broken_off_with_ctrl_c_resumes_and_saves_its_card(board, tmp_path):
    words = ("meter", "--rig", US, "--cards", str(tmp_path / "cards"), "--port", board.end.address)

    def one_catch(session, pulses, amount):
        session.wait_for("Enter starts")
        session.type("")
        session.wait_for("Enter stops")
        board.let_run(pulses)
        session.wait_for(f"{pulses} pulses")
        session.type("")
        session.wait_for("caught: volume or weight")
        session.type(amount)
        session.wait_for(f"saved: {pulses} pulses")

    first = Session(*words)
    first.wait_for("! Use clean water only")
    one_catch(first, 900, "2.00 L")
    first.wait_for("Enter starts")
    first.process.send_signal(signal.SIGINT)
    assert first.end() == 130
    assert "stopped from the keyboard: the one point is saved in " in first.printed
    draft = DraftFile(tmp_path / "cards", "Harrow Lea pull-behind", "meter")
    assert str(draft.path) in first.printed

    second = Session(*words)
    second.wait_for("1 point")
    second.type("")
    one_catch(second, 910, "2.01 L")
    second.wait_for("f finishes")
    second.type("f")
    assert second.end() == 0
    assert "New runs will use it" in second.printed
    assert draft.load() is None
    (card,) = active_cards(load_cards(tmp_path / "cards", "Harrow Lea pull-behind"))
    assert float(card.section.pulses_per_m3(100.0)) == pytest.approx(1810 / 4.01e-3, rel=1e-3)


def test_a_course_resumes_its_draft_and_answers_in_json(tmp_path):
    draft = DraftFile(tmp_path, "Harrow Lea walking boom", "course")
    draft.save([{"course_m": 60.0, "time_s": time} for time in (54.0, 55.0, 54.5)], NOON)
    words = ("course", "--rig", METRIC, "--cards", str(tmp_path), "--guided", "--course", "60 m", "--json")
    code, out, err = typed("", *words)
    assert (code, out) == (2, "")
    assert "the 3 points are saved in" in err.splitlines()[-1]
    code, out, err = typed("\nf\n", *words)
    assert code == 0
    assert json.loads(out)["speed_km_per_h"] == pytest.approx(3.6 * 60.0 / 54.5)
    assert "Finish, or time one more lap." in err
    assert draft.load() is None
    assert len(list(tmp_path.rglob("*-course.toml"))) == 1


def test_a_boom_resumes_its_draft_and_no_card_keeps_it(tmp_path):
    jug = {"name": "jug", "step_m3": 10e-6, "accuracy": 0.01}
    gauge = {"round": 1, "duration_s": 55.0, "pressure_pa": 40 * PSI, "by_gauge": True, "together": False}
    caught = [gauge | {"amount": {"volume_m3": ml * 1e-6, "vessel": jug}} for ml in (1210, 1200, 1215, 1205)]
    draft = DraftFile(tmp_path, "Harrow Lea pull-behind", "boom")
    words = ("boom", "--rig", US, "--cards", str(tmp_path), "--guided")
    draft.save(caught[:3], NOON)
    code, out, err = typed("\nf\n", *words)
    assert code == 2
    assert "Nozzle 4 is missing at this pressure" in out
    assert "the 3 points are saved" in err
    draft.save(caught, NOON)
    code, out, _ = typed("\nf\n", *words, "--no-card")
    assert code == 0
    assert "No card saved." in out
    assert draft.load() is not None
    code, out, _ = typed("\nf\n", *words)
    assert "At 40.0 psi, 55 s each on average" in out
    assert re.search(r"Mean of the nozzles +0.348 gal/min", out)
    assert code == 0
    assert draft.load() is None
    assert len(list(tmp_path.rglob("*-boom.toml"))) == 1


def test_the_guide_says_what_it_takes_of_the_tools_and_what_was_said_the_last_time(tmp_path):
    boom = next(kind for kind in KINDS if kind.name == "boom")
    keep_tools(tmp_path, "Harrow Lea pull-behind", boom, {"gauge_accuracy": "1 psi", "jug": "", "speed": "3 mph"})
    said = "".join(typed("", "boom", "--rig", US, "--cards", str(tmp_path), "--guided")[1:])
    assert "count as the last time: --gauge-accuracy 1 psi." in said
    usual = said[said.index("count as usual ones") :]
    assert "--accuracy: May be off by (blank: 3 % a kitchen jug" in usual and "--gauge-accuracy" not in usual
