"""The hydraulics against a published nozzle table, and against what regulator and pump are."""

import numpy as np
import pytest

from host.simulate.disturbances import Disturbance
from host.simulate.hydraulics import Pump, Regulator, balance
from host.simulate.settings import RegulatorSettings
from host.units import PSI_PA
from tests.host.simulate.made import QUIET, counts_between, flow_between, frames_of, one_pass, rig

GPM = 231 * 0.0254**3 / 60
PUMP = Pump(3.0 * GPM, 90 * PSI_PA)
BOOM = 0.9 * GPM / (40 * PSI_PA) ** 0.5


def settled(set_psi: float, boom: float = BOOM, speed: float = 1.0, droop: float = 0.12, pump: Pump = PUMP) -> float:
    regulator = Regulator.with_droop(droop, 40 * PSI_PA, BOOM * (40 * PSI_PA) ** 0.5, pump)
    opening = regulator.opening_pressure(np.array([set_psi * PSI_PA]), BOOM, pump)
    return float(balance(pump, regulator, opening, np.array([boom]), np.array([speed]))[0])


# Hydraulic Institute, Engineering Data Book, III-D "Losses in Nozzles": 1/4 in smooth nozzle, gal/min at psi.
NOZZLE_TABLE = {10: 5.9, 15: 7.2, 20: 8.3, 25: 9.3, 30: 10.2, 35: 11.0, 40: 11.8, 50: 13.2, 60: 14.4, 80: 16.7}


@pytest.mark.parametrize("psi", [10, 20, 40, 80])
def test_generated_flow_follows_the_published_nozzle_table(psi: int) -> None:
    """Only the row at 30 psi is given to the model; the regulator is set to the other pressures."""
    boom = rig(nozzles=1, flow="10.2 gpm", at="30 psi", pump="60 gpm", shutoff="200 psi", tank="60 gal")
    scenario = one_pass(rig=boom, seconds=25.0, **{**QUIET, "regulator": RegulatorSettings(psi * PSI_PA, 0.1, 0.0)})
    frames, _ = frames_of(scenario)
    assert flow_between(frames, 10.0, 24.0) / GPM == pytest.approx(
        NOZZLE_TABLE[psi], abs=0.05 + 0.005 * NOZZLE_TABLE[psi]
    )


def test_frames_follow_the_square_root_law_whatever_the_knob_does() -> None:
    """Q²/P is one constant over a turn of the knob from 40 to 25 and to 50 psi (orifice law, Bernoulli)."""
    knob = [Disturbance("knob", 10.0, amount=25 * PSI_PA), Disturbance("knob", 20.0, amount=50 * PSI_PA)]
    frames, source = frames_of(one_pass(*knob, seconds=30.0))
    sensor = source.scenario.rig.pressure
    assert sensor is not None
    ratios = []
    for begin in (5.0, 14.0, 24.0):
        pressure = float(np.mean(sensor.pressure_pa(counts_between(frames, begin, begin + 5), 1023)))
        ratios.append(flow_between(frames, begin, begin + 5) / pressure**0.5)
    assert ratios == pytest.approx([BOOM] * 3, rel=0.004)
    assert flow_between(frames, 24, 29) / flow_between(frames, 14, 19) == pytest.approx(2**0.5, rel=0.004)


@pytest.mark.parametrize("droop", [0.0, 0.08, 0.18])
def test_droop_is_what_a_user_would_measure(droop: float) -> None:
    """-d ln P / d ln Q at the set point, by a 1 % smaller opening."""
    before, after = settled(40, BOOM, droop=droop), settled(40, 0.99 * BOOM, droop=droop)
    assert before == pytest.approx(40 * PSI_PA)
    flow_fall = np.log(0.99) + 0.5 * np.log(after / before)
    assert np.log(after / before) / -flow_fall == pytest.approx(droop, rel=0.02, abs=1e-12)


def test_pump_regulator_and_boom_are_in_balance() -> None:
    """What the pump delivers at the pressure found is what boom and bypass take."""
    regulator = Regulator.with_droop(0.12, 40 * PSI_PA, 0.9 * GPM, PUMP)
    opening = regulator.opening_pressure(np.full(4, 40 * PSI_PA), BOOM, PUMP)
    boom, speed = np.array([0.0, 0.5, 1.0, 1.3]) * BOOM, np.array([1.0, 0.9, 0.95, 1.0])
    pressure = balance(PUMP, regulator, opening, boom, speed)
    bypass = (pressure - opening) / regulator.stiffness
    delivery = PUMP.open_flow_m3_s * speed - PUMP.slope * pressure
    assert (bypass > 0).all()
    assert boom * np.sqrt(pressure) + bypass == pytest.approx(delivery, rel=1e-9)


def test_a_boom_too_big_for_the_pump_gets_all_and_the_bypass_stays_shut() -> None:
    pressure = settled(40, 4 * BOOM)
    assert pressure < 40 * PSI_PA
    assert 4 * BOOM * pressure**0.5 == pytest.approx(PUMP.open_flow_m3_s - PUMP.slope * pressure)


def test_a_shut_boom_cannot_drive_the_pressure_past_the_pump() -> None:
    assert 40 * PSI_PA < settled(40, 0.0) < 90 * PSI_PA


def test_a_filling_strainer_is_invisible_until_the_bypass_is_used_up() -> None:
    """The regulator takes the first loss; the fall of pressure only then becomes steep."""
    losses = np.array([0.0, 0.1, 0.2, 0.45])
    pressures = np.array([settled(40, speed=1 - loss) for loss in losses]) / (40 * PSI_PA)
    slopes = -np.diff(pressures) / np.diff(losses)
    assert pressures[1] > 0.95
    assert slopes[-1] > 2 * slopes[0]
