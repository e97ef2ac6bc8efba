"""The emulated board under boot loaders and with restarts at any moment: right cause, nothing lost that was counted."""

from __future__ import annotations

import random
from itertools import pairwise
from pathlib import Path

import pytest

from firmware_protocol.messages import Flag
from tests.firmware_protocol.board_tools import build, missing_for_emulator, missing_for_loaders
from tests.firmware_protocol.emulation import CYCLES_PER_US, Seen, flood_steps, run_board

pytestmark = [
    pytest.mark.avr,
    pytest.mark.skipif(bool(missing_for_emulator()), reason=missing_for_emulator() or "can be built"),
]

LOADERS = Path("/usr/share/arduino/hardware/arduino/avr/bootloaders")
OLDER, STOCK = "atmega/ATmegaBOOT_168_atmega328.hex", "optiboot/optiboot_atmega328.hex"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("restarts")
    build("firmware", path)
    return build("emulator", path)


# ---- boot loaders ----


def _bitten(folder: Path, loader: str, bites: int) -> None:
    """After each bite the board reports again within 2 s and says that it was the watchdog; no count is lost."""
    if missing_for_loaders():
        pytest.skip(missing_for_loaders())
    chance = random.Random(loader)
    moments = [3.0 + 1.5 * nth + chance.random() * 0.1 for nth in range(bites)]
    end = moments[-1] + 2.0
    scenario = "2.9 flow 400 0.2\n" + "".join(f"{at:.6f} hang\n" for at in moments)
    seen = run_board(
        folder, scenario + f"{end} flow 0\n{end + 0.5} end\n", "--loader", str(LOADERS / loader), timeout=900
    )
    assert [identity.reset_cause for identity in seen.identities] == ["P"] + ["W"] * bites
    firsts = [report for before, report in pairwise(seen.reports) if before.boot != report.boot]
    assert len(firsts) == bites
    assert all(report.seq == 0 and report.flags & Flag.UNPLANNED_RESET for report in firsts)
    # 0.5 s until it bites, the start, and one interval to the first report: each start has sent for at least 0.7 s.
    per_start = [sum(report.boot == identity.boot for report in seen.reports) for identity in seen.identities]
    assert all(count >= 7 for count in per_start[1:])
    assert abs(seen.total("flow_count") - seen.truth["flow_pulses"]) <= bites


@pytest.mark.parametrize("loader", [OLDER, STOCK])
def test_a_bite_of_the_watchdog_under_a_boot_loader(folder: Path, loader: str) -> None:
    _bitten(folder, loader, 3)


@pytest.mark.soak
@pytest.mark.timeout(1000)
@pytest.mark.parametrize("loader", [OLDER, STOCK])
def test_fifty_bites_of_the_watchdog_under_a_boot_loader(folder: Path, loader: str) -> None:
    _bitten(folder, loader, 50)


@pytest.mark.parametrize("loader", [OLDER, STOCK])
def test_the_reset_pin_under_a_boot_loader_is_no_unplanned_restart(folder: Path, loader: str) -> None:
    if missing_for_loaders():
        pytest.skip(missing_for_loaders())
    seen = run_board(folder, "2.5 flow 300\n4 reset 0.1\n7.9 flow 0\n8.4 end\n", "--loader", str(LOADERS / loader))
    first, second = seen.identities
    assert (first.reset_cause, second.reset_cause) in (("P", "X"), ("P", "U"))
    assert abs(seen.total("flow_count") - seen.truth["flow_pulses"]) <= 1  # one at the very moment of the reset


@pytest.mark.parametrize(
    ("loader", "cause"), [pytest.param(None, "W", marks=pytest.mark.soak), (STOCK, "U"), (OLDER, None)]
)
def test_a_program_that_stands_still_with_interrupts_off(folder: Path, loader: str | None, cause: str | None) -> None:
    """No path of it does (see PORTING.md). Nothing can be counted meanwhile; then the watchdog resets the chip. The
    older loader never gets past that, not by the reset pin either: WIRING.md."""
    if loader and missing_for_loaders():
        pytest.skip(missing_for_loaders())
    scenario = "2.3 flow 400\n2.6 hang_deaf\n4.6 flow 0\n4.8 reset 0.1\n6.6 power_cycle 0.2\n9 end\n"
    seen = run_board(folder, scenario, *(("--loader", str(LOADERS / loader)) if loader else ()))
    causes = [identity.reset_cause for identity in seen.identities]
    if cause is None:
        assert causes == ["P", "P"]
        return
    assert causes[:2] == ["P", cause]
    assert causes[2] in "XU"
    assert causes[3] == "P"
    assert 0 < seen.truth["flow_pulses"] + seen.truth["flow_pulses_down"] - seen.total("flow_count") < 2.0 * 400


# ---- restarts ----


UNSEEN_US = 8.0  # from an edge until its interrupt has written the count: 8.0 µs flow, 7.6 µs wheel as measured here


def _restarted(folder: Path, moments: list[float], flow: str, wheel: str) -> Seen:
    """Resets by the pin at `moments`. No pulse is lost or counted twice but those that fell UNSEEN_US before a reset:
    their interrupt has not written the count yet, and no memory knows of them."""
    end = moments[-1] + 1.0
    scenario = f"0.5 flow {flow}\n0.5 wheel {wheel}\n" + "".join(f"{at:.7f} reset 0.01\n" for at in moments)
    edges = folder / "edges"
    seen = run_board(
        folder, scenario + f"{end} flow 0\n{end} wheel 0\n{end + 0.5} end\n", "--edges", str(edges), timeout=900
    )
    assert len(seen.identities) == len(moments) + 1
    fell = {"flow": 0, "wheel": 0}
    unseen = {"flow": 0, "wheel": 0}
    for line in edges.read_text(encoding="ascii").splitlines():
        what, cycle = line.split()
        if what != "reset":
            fell[what] = int(cycle)
            continue
        for channel, last in fell.items():
            unseen[channel] += last > 0 and int(cycle) - last < UNSEEN_US * CYCLES_PER_US
    for channel, count in unseen.items():
        lost = seen.truth[f"{channel}_pulses"] - seen.total(f"{channel}_count")
        assert 0 <= lost <= count, (channel, lost, count)
    return seen


def _at_random(restarts: int) -> list[float]:
    chance = random.Random(17)
    return [1.0 + 0.4 * nth + 0.3 * chance.random() for nth in range(restarts)]


def test_restarts_at_random_moments_lose_nothing_that_was_counted(folder: Path) -> None:
    _restarted(folder, _at_random(15), "3100 0.2", "700 0.2")


@pytest.mark.soak
@pytest.mark.timeout(1000)
def test_a_hundred_and_fifty_restarts_lose_only_edges_that_fell_as_the_reset_came(folder: Path) -> None:
    _restarted(folder, _at_random(150), "3100 0.2", "700 0.2")


BURST_S, PAUSE_S = 0.3, 0.3


def _lost_in_each(folder: Path, restarts: int, flow_hz: float, wheel_hz: float, flood: str = "") -> list[int]:
    """Pulses of both inputs that each reset has lost. In the pause after each burst all that was counted is sent."""
    chance = random.Random(f"{flow_hz} {wheel_hz}")
    begins = [1.0 + (BURST_S + PAUSE_S) * nth for nth in range(restarts)]
    scenario = flood_steps(flood, begins[-1]) if flood else ""
    for at in begins:
        scenario += f"{at:.3f} flow {flow_hz}\n{at:.3f} wheel {wheel_hz}\n"
        scenario += f"{at + 0.05 + (BURST_S - 0.1) * chance.random():.7f} reset 0.01\n"
        scenario += f"{at + BURST_S:.3f} flow 0\n{at + BURST_S:.3f} wheel 0\n"
    edges = folder / "edges"
    end = begins[-1] + BURST_S + PAUSE_S
    seen = run_board(folder, scenario + f"{end} end\n", "--edges", str(edges), timeout=900)
    fell = [0] * restarts
    for line in edges.read_text(encoding="ascii").splitlines():
        what, cycle = line.split()
        if what != "reset":
            fell[int((int(cycle) / CYCLES_PER_US / 1e6 - 1.0) / (BURST_S + PAUSE_S))] += 1
    counted, total = [], 0
    for before, after in pairwise(seen.reports):
        new = [
            getattr(after, count) - (getattr(before, count) if after.boot == before.boot else 0)
            for count in ("flow_count", "wheel_count")
        ]
        total += sum(new)
        if total and not any(new) and after.boot == before.boot and after.seq > before.seq:
            counted.append(total)  # the pause
            total = 0
    assert len(counted) == restarts
    lost = [there - here for there, here in zip(fell, counted, strict=True)]
    print(
        f"{restarts} restarts at {flow_hz} and {wheel_hz} pulses a second: {sum(fell)} fell, {sum(lost)} lost,", end=" "
    )
    print(f"{max(lost)} in the worst restart")
    return lost


@pytest.mark.parametrize(
    ("restarts", "flow_hz", "wheel_hz"),
    [
        (8, 9_800, 2_450),
        *(pytest.param(150, *rates, marks=pytest.mark.soak) for rates in ((9_800, 2_450), (3_100, 700), (400, 20))),
    ],
)
@pytest.mark.timeout(1000)
def test_a_restart_loses_one_pulse_of_an_input_at_most(
    folder: Path, restarts: int, flow_hz: float, wheel_hz: float
) -> None:
    """The bound is that of PORTING.md; no pulse counts twice."""
    lost = _lost_in_each(folder, restarts, flow_hz, wheel_hz, "p")
    assert min(lost) >= 0
    assert max(lost) <= 2  # one on each input


def _leaves_at(folder: Path) -> float:
    """Seconds from the end of a reset until the third report has left whole, to 0.1 ms. The first start of all takes
    longer: it writes the serial number."""
    low, high = 0.0, 0.1
    while high - low > 1e-4:
        middle = (low + high) / 2
        again = 0.5 + 0.01 + 0.3 + middle
        cut = run_board(folder, f"0.5 reset 0.01\n{again:.6f} reset 0.01\n{again + 0.05} end\n")
        second = [report for report in cut.reports if report.boot == cut.identities[1].boot]
        low, high = (low, middle) if any(report.seq == 2 for report in second) else (middle, high)
    return 0.3 + high


@pytest.mark.parametrize("step_us", [80, pytest.param(8, marks=pytest.mark.soak)])
def test_a_reset_as_a_report_leaves_neither_loses_nor_doubles_it(folder: Path, step_us: int) -> None:
    """Before it was sent once more in doubt, this doubled 100 pulses in every fifth of the resets."""
    after_start = _leaves_at(folder)
    moments = [0.5]
    for nth in range(1600 // step_us):
        moments.append(moments[-1] + 0.01 + after_start + (nth * step_us - 800) / 1e6)
    seen = _restarted(folder, moments, "1000", "300")
    reports = seen.reports
    again = [after for before, after in pairwise(reports) if after == before]
    assert again, "one that had left whole came once more"


def test_the_boot_number_goes_on_past_worn_cells_and_keeps_clear_of_cell_nought(folder: Path, tmp_path: Path) -> None:
    eeprom = tmp_path / "eeprom"
    resets = "".join(f"{0.5 + 0.2 * nth:.1f} reset 0.01\n" for nth in range(20))
    seen = run_board(folder, "0 worn 10 12\n" + resets + "5 end\n", "--eeprom", str(eeprom))
    boots = [identity.boot for identity in seen.identities]
    assert len(boots) == 21
    assert all(after != before for before, after in pairwise(boots))
    assert all(boot % 8 not in (2, 3, 4) for boot in boots)
    cells = eeprom.read_bytes()
    assert cells[:8] == b"\xff" * 8
    again = run_board(folder, "0.3 end\n", "--eeprom", str(eeprom))
    assert again.identities[0].boot not in boots[-3:]
