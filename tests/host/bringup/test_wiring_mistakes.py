"""Mistakes of wiring, planted one by one: bring-up names each."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_protocol.messages import Identity, decode, encode_identity
from host.cli.bringup import try_board
from host.cli.main import build_parser
from tests.firmware_protocol.board_tools import Core, build, missing_for_core
from tests.host.bringup.bench_boards import CorePort

pytestmark = pytest.mark.skipif(bool(missing_for_core()), reason=missing_for_core() or "can be built")

RIG = """
name = "Bench"
[tank]
volume = "10 gal"
[boom]
nozzles = 4
spacing = "20 in"
[nozzle]
flow = "0.3 gpm"
at = "40 psi"
[meter]
factor = "450 /L"
[pressure]
span = ["0 psi", "100 psi"]
[wheel]
circumference = "4 ft"
pulses_per_turn = 8
[target]
rate = "1 gal/1000 ft2"
"""


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build("core", tmp_path_factory.mktemp("core")) / "libcore.so"


class Sprayer:
    """Hands that do what is asked, and the wires to the board: `wires` names the input that each sensor is on."""

    def __init__(self, port: CorePort) -> None:
        self.port = port
        self.wires = {"flow": "flow", "wheel": "wheel", "switch": "switch", "pressure": "pressure"}
        self.magnets = [True] * 8
        self.bounces = 0
        self.rest_count, self.pressed_count = 102, 140
        self.supply_mv = 5000
        self.hums: dict[str, int] = {}  # µs between pulses that nobody makes, by input
        self.echo_us = 0
        self.works = {"buzzer": True, "light": True}
        self.asked = ""
        self.since_us = 0
        self._closed = False
        self._chance = random.Random(3)
        port.before_step = self.step

    def say(self, text: str) -> None:
        if not text.startswith(" "):
            self.asked, self.since_us = text, self.port.now_us

    def answer(self, question: str) -> bool | None:
        if question.startswith("Did the"):
            return self.works["buzzer" if "buzzer" in question else "light"]
        return False

    def step(self, now_us: int) -> None:
        elapsed_ms = (now_us - self.since_us) // 1000
        turning = self.asked.startswith(("Turn", "Roll")) and elapsed_ms % 250 == 0 and 0 < elapsed_ms <= 2000
        if self.asked.startswith("Blow") and 500 < elapsed_ms < 2500 and elapsed_ms % 20 == 0:
            self._pulse("flow", now_us)
        if turning and self.magnets[elapsed_ms // 250 - 1]:
            for _ in range(1 + self.bounces):
                self._pulse("wheel", now_us)
                self.port.core.clock = self.port.core.clock + 700
        pressed = self.asked.startswith("Put") and elapsed_ms > 500
        self.port.core.lib.chip_set_pressure(self._count(pressed))
        if self.asked.startswith("Work") and elapsed_ms > 500:
            self._work_switch(now_us, elapsed_ms)
        self.port.core.lib.chip_set_inputs(self._closed, self.supply_mv)
        for name, every_us in self.hums.items():
            if now_us % every_us == 0:
                self._at_input(name)

    def _count(self, pressed: bool) -> int:
        return self.pressed_count if pressed and self.wires["pressure"] == "pressure" else self.rest_count

    def _work_switch(self, now_us: int, elapsed_ms: int) -> None:
        if self.wires["switch"] == "switch":
            self._closed = True
        elif elapsed_ms % 100 == 0 and elapsed_ms < 2000:
            self._at_input(self.wires["switch"])

    def _pulse(self, sensor: str, now_us: int) -> None:
        self._at_input(self.wires[sensor])

    def _at_input(self, name: str) -> None:
        core = self.port.core
        if name == "flow":
            core.flow()
        elif name == "wheel":
            core.wheel()
        elif name == "switch":
            self._closed = not self._closed
        if self.echo_us and name in ("flow", "wheel"):
            core.clock = core.clock + self.echo_us
            core.flow() if name == "flow" else core.wheel()


Planter = Callable[[Sprayer], None]


def _wired(**wires: str) -> Planter:
    return lambda sprayer: sprayer.wires.update(wires)


def _set(**values: object) -> Planter:
    def plant(sprayer: Sprayer) -> None:
        for name, value in values.items():
            setattr(sprayer, name, value)

    return plant


def _old_board(sprayer: Sprayer) -> None:
    """Version 1.0: no such command as `f`, no state line."""
    sprayer.port.core.lib.chip_set_inputs(False, 5000)

    def spoil(line: bytes) -> bytes:
        if line[:1] in b"HS":
            return b""
        if line[:1] == b"A" and line[4:5] == b"f":
            from firmware_protocol.messages import Refusal, encode_reply

            return encode_reply(Refusal(int(line[1:3], 16), 0x02))
        message = decode(line)
        if isinstance(message, Identity):
            return encode_identity(Identity(message.boot, "1.0", *[getattr(message, n) for n in message.__slots__[2:]]))
        return line

    sprayer.port.spoil = spoil


def _restarts(sprayer: Sprayer) -> None:
    step = sprayer.port.before_step
    boots = iter(range(6, 250))

    def loose(now_us: int) -> None:
        if now_us % 2_500_000 == 0 and now_us < 6_000_000:
            sprayer.port.core.lib.chip_keep_begin(True)
            sprayer.port.core.start(next(boots))
        step(now_us)

    sprayer.port.before_step = loose


MISTAKES: dict[str, tuple[Planter, str, str]] = {
    "meter on the wheel's input": (_wired(flow="wheel"), "flow meter", "wheel sensor answered instead"),
    "wheel on the meter's input": (_wired(wheel="flow"), "wheel sensor", "flow meter answered instead"),
    "the two swapped": (_wired(wheel="flow", flow="wheel"), "flow meter", "are the two wires swapped"),
    "meter on the switch's input": (_wired(flow="switch"), "flow meter", "spray switch answered instead"),
    "switch on the wheel's input": (_wired(switch="wheel"), "spray switch", "wheel sensor answered instead"),
    "switch on the meter's input": (_wired(switch="flow"), "spray switch", "flow meter answered instead"),
    "meter's wire off": (_wired(flow=""), "flow meter", "signal wire and the pull-up"),
    "wheel's wire off": (_wired(wheel=""), "wheel sensor", "gap between sensor and magnets"),
    "switch's wire off": (_wired(switch=""), "spray switch", "the two wires of the switch"),
    "transducer without supply": (_set(rest_count=0, pressed_count=0), "pressure", "no signal"),
    "transducer's signal at 5 V": (_set(rest_count=1023, pressed_count=1023), "pressure", "lies at the supply"),
    "transducer's signal floats": (_set(rest_count=512, pressed_count=512), "pressure", "check the signal wire"),
    "transducer does not move": (_set(pressed_count=102), "pressure transducer", "nothing seen"),
    "meter hums": (_set(hums={"flow": 10_000}), "flow input at rest", "100.0 pulses a second while nobody"),
    "wheel hums": (_set(hums={"wheel": 20_000}), "wheel input at rest", "50.0 pulses a second while nobody"),
    "noise on the meter": (_set(hums={"flow": 500_000}, echo_us=40), "flow input noise", "edges refused"),
    "noise on the wheel": (_set(hums={"wheel": 500_000}, echo_us=90), "wheel input noise", "edges refused"),
    "supply low": (_set(supply_mv=4100), "supply", "4.10 V"),
    "a magnet missing": (_set(magnets=[True] * 7 + [False]), "wheel sensor", "7 pulses in one turn"),
    "a contact that bounces": (_set(bounces=1), "wheel sensor", "is it a reed?"),
    "loose supply wire": (_restarts, "resets while listening", "loose supply wire"),
    "buzzer dead": (_set(works={"buzzer": False, "light": True}), "buzzer", "check its wires"),
    "light dead": (_set(works={"buzzer": True, "light": False}), "light", "check its wires"),
}


def _tried(library: Path, plant: Planter, tmp_path: Path, *, rig: str = RIG) -> int:
    core = Core(library)
    core.start()
    port = CorePort(core)
    sprayer = Sprayer(port)
    plant(sprayer)
    (tmp_path / "kept").mkdir(exist_ok=True)
    (tmp_path / "rig.toml").write_text(rig, encoding="utf-8")
    options = ["--listen", "6", "--wait", "8", "--json", "--out", str(tmp_path / "kept")]
    args = build_parser().parse_args(["bringup", "--port", "core", "--rig", str(tmp_path / "rig.toml"), *options])
    return try_board(args, port, port.clock, sprayer.say, sprayer.answer)


def test_a_sprayer_without_a_mistake_is_good_and_said_so_in_few_words(
    library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _tried(library, lambda sprayer: None, tmp_path) == 0
    out = capsys.readouterr().out
    result = json.loads(out)
    assert {finding["grade"] for finding in result["findings"]} == {"good"}
    assert any(f["what"] == "protocol" and f["seen"].endswith("as they should be") for f in result["findings"])
    assert len(result["findings"]) < 25
    (kept,) = (tmp_path / "kept").iterdir()
    assert json.loads(kept.read_text(encoding="utf-8")) == result
    assert "5A17C0DE" in kept.name


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_is_named(library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    plant, what, words = MISTAKES[name]
    assert _tried(library, plant, tmp_path) == 1
    findings = json.loads(capsys.readouterr().out)["findings"]
    named = [finding["seen"] for finding in findings if finding["what"] == what and finding["grade"] == "mend"]
    assert named and words in named[0], findings


def test_an_old_board_cannot_filter_a_reed(library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rig = RIG.replace("[wheel]", '[wheel]\nsensor = "reed"')
    assert _tried(library, _old_board, tmp_path, rig=rig) == 1
    bad = [f for f in json.loads(capsys.readouterr().out)["findings"] if f["grade"] == "mend"]
    assert [finding["what"] for finding in bad] == ["input filter"]
    assert _tried(library, _old_board, tmp_path) == 0
