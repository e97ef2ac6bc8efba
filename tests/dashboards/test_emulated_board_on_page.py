"""The whole path: firmware in an emulated ATmega328P, pseudo-terminal, recorder, live page in a browser."""

from __future__ import annotations

import re
import signal
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from host.journal import read_run
from host.rig import load_rig
from host.units import to_user
from tests.dashboards.processes import RecorderProcess, Server, wait_until
from tests.dashboards.test_live_page import READ_TEXTS, text, wait_for
from tests.dashboards.walking import RIG
from tests.firmware_protocol.board_tools import build, missing_for_emulator

pytestmark = [
    pytest.mark.avr,
    pytest.mark.browser,
    pytest.mark.skipif(bool(missing_for_emulator()), reason=missing_for_emulator() or "can be built"),
]

FLOW_HZ, WHEEL_HZ, VOLTS = 40.0, 8.0, 2.1
SCENARIO = f"0 pressure {VOLTS}\n0.2 flow {FLOW_HZ}\n0.2 wheel {WHEEL_HZ}\n0.3 switch closed\n300 end\n"


@pytest.fixture
def chip(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """An emulated chip in real time; the name of the terminal at its serial pins."""
    folder = tmp_path_factory.mktemp("chip")
    build("firmware", folder)
    build("emulator", folder)
    (folder / "scenario").write_text(SCENARIO, encoding="ascii")
    command: list[str | Path] = [
        folder / "emulated_board",
        folder / "board.elf",
        folder / "scenario",
        "--pty",
        "--speed",
        "1",
    ]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout
        yield process.stdout.readline().strip()
        process.send_signal(signal.SIGTERM)


def test_from_the_pins_to_the_page(
    chip: str, runs: Path, tmp_path: Path, serve: Callable[..., Server], phone: Callable[..., Any]
) -> None:
    with RecorderProcess(chip, runs, tmp_path / "recorder.log") as recorder:
        page = phone(serve().address)
        wait_for(page, "fresh", "fresh")
        wait_until(lambda: re.fullmatch(r"[\d.]+", text(page, "#rate")), "a rate")
        wait_until(lambda: float(page.evaluate(READ_TEXTS)["area"]) > 0, "an area")
        shown = page.evaluate(READ_TEXTS)
        assert recorder.end(signal.SIGINT) == 0

    rig = load_rig(RIG)
    assert rig.wheel and rig.pressure
    flow_m3_s = FLOW_HZ / float(rig.meter.pulses_per_m3(np.array([FLOW_HZ]))[0])
    rate = flow_m3_s / (WHEEL_HZ * rig.wheel.metres_per_pulse * rig.swath_m)
    # The rate needs no clock, so it is right even if this machine lets the emulated chip run slow.
    assert float(shown["rate"]) == pytest.approx(to_user(rate, "rate", rig.units), rel=0.02)
    low, high = rig.pressure.low_pa, rig.pressure.high_pa
    pressure_pa = low + (VOLTS / 5 - 0.1) / 0.8 * (high - low)  # 10 to 90 % of the supply
    assert float(shown["pressure"]) == pytest.approx(to_user(pressure_pa, "pressure", rig.units), abs=0.3)
    assert float(shown["flow"]) == pytest.approx(to_user(flow_m3_s, "flow", rig.units), rel=0.25)
    assert page.wrong == []

    run = read_run(recorder.run)
    assert run.complete
    assert run.damage == []
    assert (np.diff(run.frames["seq"].astype(int)) == 1).all()
