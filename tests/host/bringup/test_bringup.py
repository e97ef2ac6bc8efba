"""Bring-up: a good board passes everything, and each fault is found by its name."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_protocol.messages import Capability, Command, Report, decode, encode_command, encode_report, seal
from host.bringup import Bench, Finding, Grade, beep, by_hand, conformance, listen
from host.cli.bringup import try_board
from host.cli.main import build_parser, main
from host.errors import UserError
from tests.firmware_protocol.board_tools import Core, build, missing_for_core
from tests.host.bringup.bench_boards import CorePort

pytestmark = pytest.mark.skipif(bool(missing_for_core()), reason=missing_for_core() or "can be built")


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build("core", tmp_path_factory.mktemp("core")) / "libcore.so"


@pytest.fixture
def port(library: Path) -> CorePort:
    core = Core(library)
    core.start()
    return CorePort(core)


def _all(port: CorePort, seconds: float = 6) -> list[Finding]:
    bench = Bench(port, port.clock)
    listened = listen(bench, seconds)
    return listened.findings + list(conformance(bench, listened.identity))


def _bad(findings: list[Finding]) -> set[str]:
    return {finding.what for finding in findings if finding.grade is Grade.BAD}


@pytest.mark.parametrize("capabilities", [0x3F, 0x05])
def test_a_good_board_passes(port: CorePort, capabilities: int) -> None:
    port.core.start(capabilities=capabilities)
    findings = _all(port)
    assert [finding for finding in findings if finding.grade is not Grade.GOOD] == []
    assert len(findings) > 25


def test_a_board_that_a_run_has_left_at_50_ms_passes(port: CorePort) -> None:
    port.write(encode_command(Command("n", 1, 50)) + b"\n")
    assert [finding for finding in _all(port) if finding.grade is not Grade.GOOD] == []


def _change(**changes: Callable[[Report], int]) -> Callable[[bytes], bytes]:
    """Spoils reports by the fields given, under a right checksum."""

    def spoil(line: bytes) -> bytes:
        message = decode(line)
        if not isinstance(message, Report):
            return line
        values = {name: getattr(message, name) for name in message.__slots__}
        return encode_report(Report(**values | {name: change(message) for name, change in changes.items()}))

    return spoil


@pytest.mark.parametrize(
    ("spoil", "found"),
    [
        (lambda line: line[:-1] + b"0" if line.startswith(b"R") and b" 000" in line[3:8] else line, "lines"),
        (_change(boot=lambda r: 5 + (r.seq > 30)), "resets while listening"),
        (_change(seq=lambda r: r.seq * 2), "sequence"),
        (_change(clock=lambda r: r.clock + 9_000 * (r.seq % 2)), "pace"),
        (_change(flow_count=lambda r: r.seq // 20, flow_edge=lambda r: r.clock), "flow count and edge time"),
        (_change(flow_count=lambda r: 1000 - r.seq), "flow count and edge time"),
        (_change(wheel_count=lambda r: r.seq), "wheel count and edge time"),
        (_change(wheel_count=lambda r: r.seq + 1, wheel_edge=lambda r: r.clock + 50), "wheel count and edge time"),
        (_change(pressure_mean=lambda r: 512, pressure_min=lambda r: 33, pressure_max=lambda r: 40), "pressure"),
        (_change(pressure_mean=lambda r: 16_400, pressure_max=lambda r: 1025, pressure_min=lambda r: 1), "pressure"),
        (_change(edges_dropped=lambda r: r.seq), "dropped by the board"),
    ],
)
def test_each_fault_in_the_reports_is_found(port: CorePort, spoil: Callable[[bytes], bytes], found: str) -> None:
    port.spoil = spoil
    findings = listen(Bench(port, port.clock), 6).findings
    assert found in _bad(findings)


def test_a_slow_clock_is_told_but_is_no_fault(port: CorePort) -> None:
    findings = listen(Bench(port, lambda: port.now_us / 1e6 * 1.01), 8).findings
    (clock,) = [finding for finding in findings if finding.what == "board clock"]
    assert clock.grade is Grade.NOTE
    assert "0.99 % slow" in clock.seen
    assert _bad(findings) == set()


def test_a_board_that_does_not_listen(port: CorePort) -> None:
    port.core.send = lambda data: None  # type: ignore[method-assign]
    bad = _bad(_all(port))
    assert {"identity", "identify", "ping", "interval 20 ms", "wrong checksum: refused", "still listening"} <= bad
    assert "sequence" not in bad


def test_a_board_that_takes_anything(port: CorePort) -> None:
    """One that acknowledges instead of refusing, as a lenient parser would."""
    port.spoil = lambda line: seal(f"A{line[1:3].decode()} n 00000014") if line.startswith(b"E") else line
    bad = _bad(_all(port))
    assert {"interval 19 ms: refused", "interval 1001 ms: refused", "unknown command: refused"} <= bad


def test_steps_by_hand(port: CorePort) -> None:
    bench = Bench(port, port.clock)
    identity = listen(bench, 1).identity
    assert identity
    began = port.now_us

    def hands(now_us: int) -> None:
        seconds = (now_us - began) / 1e6
        if 1 < seconds < 2 and now_us % 50_000 == 0:
            port.core.flow()
        if seconds > 1:
            port.core.lib.chip_set_pressure(102 if seconds < 3 else 130)
        if 10 < seconds < 11 and now_us % 100_000 == 0:
            port.core.wheel()
        port.core.lib.chip_set_inputs(seconds > 12, 5000)

    port.before_step = hands
    said: list[str] = []
    findings = list(by_hand(bench, identity, 8, said.append))
    assert [finding.grade for finding in findings] == [Grade.GOOD] * 4
    assert any("pulses" in line for line in said)
    port.before_step = lambda now_us: None
    nothing = list(by_hand(bench, identity, 2, said.append))
    assert (nothing[0].grade, nothing[0].what) == (Grade.BAD, "flow meter")


@pytest.mark.parametrize(("answer", "grade"), [(True, Grade.GOOD), (False, Grade.BAD), (None, Grade.NOTE)])
def test_beep(port: CorePort, answer: bool | None, grade: Grade) -> None:
    port.core.start(capabilities=Capability.BUZZER)
    bench = Bench(port, port.clock)
    identity = listen(bench, 1).identity
    assert identity
    heard: list[bool] = []

    def ask(question: str) -> bool | None:
        bench.hear()
        heard.append(port.core.lib.chip_buzzer())
        return answer

    assert [finding.grade for finding in beep(bench, identity, ask)] == [grade]
    assert heard == [True]


def test_wrong_port_is_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["bringup", "--port", "/dev/no-such-port"])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "/dev/no-such-port" in err


def _command(port: CorePort, *options: str) -> int:
    return try_board(build_parser().parse_args(["bringup", "--port", "core", "--no-hands", *options]), port, port.clock)


def test_command_tells_what_it_found(port: CorePort, capsys: pytest.CaptureFixture[str]) -> None:
    assert _command(port, "--listen", "3", "--json") == 0
    result = json.loads(capsys.readouterr().out)
    assert {finding["grade"] for finding in result["findings"]} <= {"good", "note"}
    assert result["board"]["serial"] == "5A17C0DE"
    assert port.closed
    port.spoil = _change(seq=lambda r: r.seq * 2)
    assert _command(port, "--listen", "3") == 1
    assert "bad   sequence" in capsys.readouterr().out


@pytest.mark.parametrize(("line", "sentence"), [(b"\xff\x80", "cannot be read"), (None, "no board is heard")])
def test_command_without_a_board_that_can_be_read(port: CorePort, line: bytes | None, sentence: str) -> None:
    port.spoil = lambda sent: line or b""
    with pytest.raises(UserError, match=sentence):
        _command(port)


def test_command_on_a_port_that_is_pulled(port: CorePort) -> None:
    def pull(now_us: int) -> None:
        if now_us > 2_000_000:
            raise OSError("gone")

    port.before_step = pull
    with pytest.raises(UserError, match="was lost"):
        _command(port)


@pytest.mark.parametrize("seconds", ["0", "nan", "5000"])
def test_listening_time_must_make_sense(seconds: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        build_parser().parse_args(["bringup", "--port", "x", "--listen", seconds])
    assert "between 1 and 3600" in capsys.readouterr().err
