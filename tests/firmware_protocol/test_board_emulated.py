"""The firmware as the chip runs it: an emulated ATmega328P with pulses and voltages on its pins."""

from __future__ import annotations

import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import IO, TYPE_CHECKING

import numpy as np
import pytest

from firmware_protocol.messages import (
    Ack,
    Capability,
    Command,
    Flag,
    Identity,
    Refusal,
    decode,
    encode_command,
    outputs_argument,
)
from host.cli.main import main
from tests.firmware_protocol.board_tools import BOARD, SCENARIOS, build, missing_for_emulator, missing_for_loaders
from tests.firmware_protocol.emulation import CYCLES_PER_US, run_board, send_step

if TYPE_CHECKING:
    from host.recorder import Recorder

EXAMPLES = Path(__file__).parents[2] / "host/rig/examples"

pytestmark = [
    pytest.mark.avr,
    pytest.mark.skipif(bool(missing_for_emulator()), reason=missing_for_emulator() or "can be built"),
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("emulated")
    build("firmware", path)
    return build("emulator", path)


def _assert_no_edge_lost_and_timed(folder: Path, scenario: str | Path, timeout: float = 280) -> None:
    """The issue's goals: not one edge lost; edge times true to 8 µs from their own mean offset's extremes."""
    edges = folder / "edges"
    seen = run_board(folder, scenario, "--edges", str(edges), timeout=timeout)
    assert seen.damaged == []
    assert [report.seq for report in seen.reports] == list(range(len(seen.reports)))
    truth: dict[str, list[int]] = {"flow": [], "wheel": []}
    for line in edges.read_text(encoding="ascii").splitlines():
        channel, cycle = line.split()
        truth[channel].append(int(cycle))
    for channel, cycles in truth.items():
        counts = np.array([getattr(report, f"{channel}_count") for report in seen.reports])
        edge_us = np.array([getattr(report, f"{channel}_edge") for report in seen.reports])
        assert counts[-1] == len(cycles) == seen.truth[f"{channel}_pulses"]
        counted = counts > 0
        offset = edge_us[counted] - np.array(cycles)[counts[counted] - 1] / CYCLES_PER_US
        assert np.ptp(offset) <= 8.0
    assert not any(report.flags & (Flag.FLOW_GLITCH | Flag.WHEEL_GLITCH) for report in seen.reports)


def test_fits_the_chip(folder: Path) -> None:
    """32,256 bytes of flash are left by the usual loader (512 bytes) and 2,048 bytes of RAM are there: data sheet."""
    done = subprocess.run(["avr-size", folder / "board.elf"], capture_output=True, text=True, check=True)
    text, data, bss = map(int, done.stdout.splitlines()[1].split()[:3])
    assert text + data < 32_256 // 2
    assert data + bss < 2_048 // 2


def test_starts_reports_and_sees_its_inputs(folder: Path) -> None:
    scenario = "0 pressure 0.5\n1.03 pressure 2.5\n1.5 switch closed\n2.2 supply 4.0\n0.5 flow 70\n4 flow 0\n5 end\n"
    seen = run_board(folder, scenario)
    assert seen.damaged == []
    assert isinstance(seen.messages[0], Identity)
    identity = seen.identities[0]
    assert (identity.protocol, identity.adc_full_scale, identity.interval_ms) == ("1.1", 1023, 100)
    assert identity.capabilities == sum(Capability)
    assert identity.reset_cause == "P"
    clocks = np.array([report.clock for report in seen.reports])
    assert len(clocks) in (49, 50)
    assert np.ptp(clocks - np.arange(1, len(clocks) + 1) * 100_000) < 5_000
    assert seen.total("flow_count") == seen.truth["flow_pulses"]
    low, high = seen.reports[8], seen.reports[14]
    assert low.pressure_mean / 16 == pytest.approx(0.5 / 5 * 1023, abs=1.1)  # ratiometric: volts of 5 V
    assert high.pressure_mean / 16 == pytest.approx(2.5 / 5 * 1023, abs=1.1)
    assert seen.reports[10].pressure_min < seen.reports[10].pressure_max - 350  # the step falls into this frame
    assert not low.flags & Flag.SPRAY
    assert seen.reports[16].flags & Flag.SPRAY
    assert not low.flags & Flag.SUPPLY_LOW
    assert seen.reports[-1].flags & Flag.SUPPLY_LOW


def test_commands_and_garbage_over_the_serial_line(folder: Path) -> None:
    garbage = bytes(range(1, 250)).replace(b"\n", b"") + b"\n\xff\xfe\n"
    scenario = (
        send_step(Command("q", 1), 1.0)
        + send_step(Command("n", 2, 50), 1.2)
        + send_step(Command("n", 3, 5), 1.4)
        + send_step(Command("o", 4, outputs_argument(3, 1, 5)), 1.6)
        + "".join(f"{1.8 + n / 4000:.3f} send {garbage[n : n + 100].hex()}\n" for n in range(0, len(garbage), 100))
        + send_step(Command("p", 5), 2.5)
        + "0.9 flow 3000 0.2\n3 flow 0\n3.3 end\n"
    )
    seen = run_board(folder, scenario)
    assert seen.damaged == []
    replies = [message for message in seen.messages if isinstance(message, Ack | Refusal)]
    assert replies[:4] == [Ack(1, "q", 0), Ack(2, "n", 50), Refusal(3, 0x03), Ack(4, "o", outputs_argument(3, 1, 5))]
    assert replies[4:6] == [Refusal(0, 0x04), Refusal(0, 0x01)]
    ping = replies[6]
    assert isinstance(ping, Ack)
    assert 2_490_000 < ping.value < 2_510_000
    assert len(seen.identities) == 3  # at the start, when asked, after the interval changed
    assert seen.total("flow_count") == seen.truth["flow_pulses"]
    assert seen.truth["ram_never_used"] > 1_000  # of 2,048, with everything that a stack can hold on it
    gaps = [after.clock - before.clock for before, after in pairwise(seen.reports) if before.clock > 1_300_000]
    assert all(abs(gap - 50_000) < 5_000 for gap in gaps)
    assert any(report.flags & Flag.OUTPUT_ON for report in seen.reports)
    assert not seen.reports[-1].flags & Flag.OUTPUT_ON


def test_glitches_are_refused_and_flagged(folder: Path) -> None:
    """Bursts of edges 20 µs apart: of each the first counts, and every sixth after it (100 µs later)."""
    seen = run_board(folder, "1.01 flow_burst 5 20\n1.31 wheel_burst 15 20\n1.51 flow_burst 6 20\n2 end\n")
    assert seen.total("flow_count") == 1 + 2
    assert seen.total("wheel_count") == 1
    flagged = {report.seq for report in seen.reports if report.flags & Flag.FLOW_GLITCH}
    assert len(flagged) == 2
    assert sum(bool(report.flags & Flag.WHEEL_GLITCH) for report in seen.reports) == 1


def test_no_edge_is_lost_at_the_highest_rates(folder: Path) -> None:
    scenario = "0.5 flow 5000 0.2\n0.5 wheel 1000 0.25\n10.5 flow 0\n10.5 wheel 0\n10.8 end\n"
    _assert_no_edge_lost_and_timed(folder, scenario)


def test_a_reset_loses_only_what_came_while_it_was_down(folder: Path, tmp_path: Path) -> None:
    scenario = "0.5 flow 731 0.2\n0.5 wheel 97 0.3\n3.037 reset 0.85\n6.5 flow 0\n6.5 wheel 0\n7 end\n"
    seen = run_board(folder, scenario, "--eeprom", str(tmp_path / "eeprom"))
    assert [identity.reset_cause for identity in seen.identities] == ["P", "X"]
    first, second = seen.identities
    assert second.boot == (first.boot + 1) % 256
    assert seen.truth["flow_pulses_down"] > 500
    assert seen.total("flow_count") == seen.truth["flow_pulses"]
    assert seen.total("wheel_count") == seen.truth["wheel_pulses"]
    again = run_board(folder, "0.5 end\n", "--eeprom", str(tmp_path / "eeprom"))
    assert again.identities[0].boot == (second.boot + 1) % 256  # kept while the power was off


def test_the_watchdog_wakes_a_board_that_hangs(folder: Path) -> None:
    seen = run_board(folder, "0.5 flow 400 0.2\n2.02 hang\n4 flow 0\n4.3 end\n")
    assert [identity.reset_cause for identity in seen.identities] == ["P", "W"]
    assert seen.total("flow_count") == seen.truth["flow_pulses"]
    assert seen.truth["flow_pulses_down"] < 5
    flagged = [bool(report.flags & Flag.UNPLANNED_RESET) for report in seen.reports]
    assert flagged == sorted(flagged)
    assert any(flagged)


def test_a_power_cut_begins_anew(folder: Path) -> None:
    seen = run_board(folder, "0.5 flow 500\n2.05 power_cycle 0.5\n4 flow 0\n4.3 end\n")
    assert [identity.reset_cause for identity in seen.identities] == ["P", "P"]
    lost = seen.truth["flow_pulses"] - seen.total("flow_count")
    assert 0 <= lost <= 0.1 * 500 + 1  # at most one report's worth: memory is gone


SPRAYING = "0 pressure 2.5\n0.2 flow 400 0.1\n0.2 wheel 50 0.1\n0.4 switch closed\n600 end\n"
AT_REST = "0 pressure 0.5\n600 end\n"  # 10 % of the supply: a transducer without pressure


@pytest.fixture(params=[SPRAYING])
def on_terminal(folder: Path, request: pytest.FixtureRequest) -> Iterator[tuple[str, subprocess.Popen[str], IO[str]]]:
    """A board in real time on a pseudo-terminal: its name, the process, its output."""
    (folder / "live.txt").write_text(request.param, encoding="ascii")
    with subprocess.Popen(
        [folder / "emulated_board", folder / "board.elf", folder / "live.txt", "--pty", "--speed", "1"],
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout
        yield process.stdout.readline().strip(), process, process.stdout
        process.send_signal(signal.SIGTERM)


def test_a_command_is_answered_in_time_over_a_pseudo_terminal(
    on_terminal: tuple[str, subprocess.Popen[str], IO[str]],
) -> None:
    import serial

    name, _, _ = on_terminal
    with serial.Serial(name, 115_200, timeout=60) as port:
        port.readline()  # opening the port throws away what was waiting: the first line may be half a line
        port.write(encode_command(Command("p", 7)) + b"\n")
        lines = (decode(port.readline().rstrip(b"\n")) for _ in range(50))  # of five seconds of the board's time
        message = next(line for line in lines if isinstance(line, Ack))
        assert (message.tag, message.command) == (7, "p")


def test_the_recorder_records_the_emulated_board(
    on_terminal: tuple[str, subprocess.Popen[str], IO[str]], tmp_path: Path
) -> None:
    """Board, pseudo-terminal, recorder, run file: what the board sent stands in the file."""
    from host.journal import read_run
    from host.recorder import Recorder, RunPlan
    from host.rig import load_rig

    rig = load_rig(EXAMPLES / "harrow-lea-pull-behind.toml")
    assert rig.report_interval_ms == 50
    recorder = Recorder(on_terminal[0], RunPlan(tmp_path, "bench", rig.toml, {}, rig=rig))
    path = recorder.start()
    ender = threading.Thread(target=_stop_when_grown, args=(recorder, path, 40))
    ender.start()
    recorder.run()
    ender.join()
    run = read_run(path)
    assert run.complete
    assert run.damage == []
    assert len(run.frames) >= 30
    assert run.wire_damage <= 2  # half lines where the port was opened and closed
    assert (np.diff(run.frames["seq"].astype(int)) == 1).all()
    assert (np.diff(run.frames["flow_count"].astype(int)) > 0).any()
    steps_ms = np.diff(run.frames["clock"].astype(int)) / 1000
    assert (np.abs(steps_ms[-15:] - 50) < 3).all()


@pytest.mark.parametrize("on_terminal", [AT_REST], indirect=True)
def test_bring_up_finds_nothing_wrong(
    on_terminal: tuple[str, subprocess.Popen[str], IO[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["bringup", "--port", on_terminal[0], "--no-hands", "--listen", "3"])
    out = capsys.readouterr().out
    assert code == 0, out
    assert "hand-boom" in out


def _stop_when_grown(recorder: Recorder, path: Path, lines: int) -> None:
    """Give up after 60 s: the assertions on the file then say what is missing."""
    deadline = time.monotonic() + 60
    while path.read_bytes().count(b"\nL ") < lines and time.monotonic() < deadline:
        time.sleep(0.1)
    recorder.stop("test over")


@pytest.mark.soak
@pytest.mark.timeout(1200)
def test_ten_minutes_at_the_highest_rates(folder: Path) -> None:
    _assert_no_edge_lost_and_timed(folder, SCENARIOS / "fastest.txt", timeout=1100)


@pytest.mark.soak
@pytest.mark.timeout(3600)
def test_seventy_five_minutes_across_the_wrap_and_a_reset(folder: Path) -> None:
    seen = run_board(folder, SCENARIOS / "wrap_and_reset.txt", timeout=3500)
    assert any(after.clock < before.clock and after.boot == before.boot for before, after in pairwise(seen.reports))
    assert len({report.boot for report in seen.reports}) == 2
    assert seen.total("flow_count") == seen.truth["flow_pulses"]
    assert seen.total("wheel_count") == seen.truth["wheel_pulses"]


def test_the_sketch_built_with_the_vendors_core_loses_no_edge(tmp_path: Path) -> None:
    if missing_for_loaders():
        pytest.skip(missing_for_loaders())
    build("emulator", build("sketch", tmp_path))
    (tmp_path / "board.elf").write_bytes((tmp_path / "sketch.elf").read_bytes())
    _assert_no_edge_lost_and_timed(tmp_path, "0.5 flow 9800\n0.5 wheel 2450\n1.5 flow 0\n1.5 wheel 0\n1.8 end\n")


def test_a_board_that_talks_faster(folder: Path, tmp_path: Path) -> None:
    """250,000 baud, which the chip makes exactly: 16 MHz ÷ 8 ÷ 8 (data sheet)."""
    subprocess.run(
        ["make", "-s", "-C", str(BOARD), "firmware", f"BUILD={tmp_path}", "OPTIONS=-DBOARD_BAUD=250000UL"],
        check=True,
        capture_output=True,
    )
    (tmp_path / "emulated_board").symlink_to(folder / "emulated_board")
    seen = run_board(tmp_path, "0.5 flow 2000\n1.5 flow 0\n" + send_step(Command("n", 1, 20), 0.4) + "2 end\n")
    assert seen.damaged == []
    assert seen.reports[-1].flow_count == seen.truth["flow_pulses"]
