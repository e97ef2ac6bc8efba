"""What each fault does to flow Q, pressure P and c = Q/√P: the signatures that diagnosis will stand on.

Directions are facts of the trade (common practice); sizes follow from the orifice law and the droop of 0.12.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from firmware_protocol.messages import Flag
from host.simulate.disturbances import KINDS, Disturbance
from host.units import PSI_PA
from tests.host.simulate.made import counts_between, flow_between, frames_of, one_pass

LIVE_ZERO = 0.1 * 1023


@dataclass
class Change:
    """Ratio after : before."""

    flow: float
    pressure: float

    @property
    def coefficient(self) -> float:
        return self.flow / self.pressure**0.5


def change(kind: str, **detail: Any) -> Change:
    """Quiet spraying for 20 s, then the fault; compares 8 to 18 s with 25 to 38 s."""
    frames, _ = frames_of(one_pass(Disturbance(kind, 20.0, **detail)))
    pressures = [counts_between(frames, *span).mean() - LIVE_ZERO for span in ((8, 18), (25, 38))]
    return Change(flow_between(frames, 25, 38) / flow_between(frames, 8, 18), pressures[1] / pressures[0])


def spent(begin_psi: float = 40.0) -> float:
    return begin_psi * PSI_PA


@pytest.mark.parametrize(("share", "drop"), [(1.0, 1 / 3), (0.5, 1 / 6), (0.25, 1 / 12), (0.1, 1 / 30)])
def test_a_clog_lowers_c_by_its_share_of_the_boom_and_the_droop_raises_the_pressure(share: float, drop: float) -> None:
    found = change("clog", amount=share)
    assert found.coefficient == pytest.approx(1 - drop, abs=0.004)
    assert found.pressure == pytest.approx(1 + 0.12 * (1 - found.flow), abs=0.012)


def test_two_clogged_nozzles_are_twice_one() -> None:
    assert change("clog", amount=0.5, nozzles=2).coefficient == pytest.approx(2 / 3, abs=0.004)


def test_a_clog_that_creeps_in_is_half_done_half_way() -> None:
    frames, _ = frames_of(one_pass(Disturbance("clog", 10.0, amount=1.0, over_s=40.0), seconds=60.0))
    half = flow_between(frames, 29, 31) / flow_between(frames, 5, 10)
    assert half == pytest.approx(1 - 0.5 / 3, abs=0.02)


@pytest.mark.parametrize(("kind", "amount", "c"), [("wear", 0.15, 1.05), ("lost_tip", 1.0, 4 / 3), ("leak", 0.2, 1.2)])
def test_wear_a_lost_tip_and_a_leak_raise_c_and_lower_the_pressure(kind: str, amount: float, c: float) -> None:
    found = change(kind, amount=amount)
    assert found.coefficient == pytest.approx(c, abs=0.006)
    assert found.pressure < 1


def test_a_leak_does_not_reach_the_ground() -> None:
    _, source = frames_of(one_pass(Disturbance("leak", 0.0, amount=0.25)))
    assert source.sprayer.leaked_m3 / source.sprayer.sprayed_m3 == pytest.approx(0.25)


def test_a_kink_past_the_sensors_looks_like_a_clog() -> None:
    kink, clog = change("kink", amount=1 / 6), change("clog", amount=0.5)
    assert (kink.flow, kink.pressure) == pytest.approx((clog.flow, clog.pressure), rel=1e-3)


@pytest.mark.parametrize(("kind", "amount"), [("strainer", 0.3), ("regulator", 0.25), ("battery", 0.2)])
def test_what_happens_before_the_sensors_leaves_c_alone(kind: str, amount: float) -> None:
    found = change(kind, amount=amount)
    assert found.pressure < 0.985
    assert found.coefficient == pytest.approx(1.0, abs=0.004)


def test_a_knob_turn_leaves_c_alone() -> None:
    found = change("knob", amount=spent(30.0))
    assert found.pressure == pytest.approx(0.75, abs=0.01)
    assert found.coefficient == pytest.approx(1.0, abs=0.004)


def test_air_makes_flow_pressure_and_c_erratic() -> None:
    frames, _ = frames_of(one_pass(Disturbance("air", 20.0, amount=0.6)))
    calm, wild = (counts_between(frames, *span).std() for span in ((8, 18), (22, 38)))
    assert wild > 10 * max(calm, 0.3)


def test_an_empty_tank_spits_and_sprays_nothing_more() -> None:
    from tests.host.simulate.made import rig

    frames, source = frames_of(one_pass(rig=rig(tank="0.3 gal"), seconds=60.0))
    assert source.sprayer.sprayed_m3 == pytest.approx(0.3 * 231 * 0.0254**3, rel=1e-3)
    assert source.sprayer.dry_since_s == pytest.approx(1.0 + 0.3 / 0.9 * 60, abs=1.0)
    assert counts_between(frames, 40, 58).mean() - LIVE_ZERO < 0.3 * (counts_between(frames, 5, 15).mean() - LIVE_ZERO)


def test_valve_shut_stops_the_flow_and_raises_the_pressure_before_it() -> None:
    frames, _ = frames_of(one_pass(Disturbance("valve_shut", 20.0)))
    assert frames["flow_count"][-1] - frames["flow_count"][220] <= 1
    assert counts_between(frames, 25, 38).mean() > counts_between(frames, 8, 18).mean() + 10
    assert frames["flags"][300] & Flag.SPRAY


def test_meter_stuck_gives_no_pulses_at_an_unchanged_pressure() -> None:
    frames, _ = frames_of(one_pass(Disturbance("meter_stuck", 20.0)))
    assert frames["flow_count"][-1] == frames["flow_count"][200]
    assert counts_between(frames, 25, 38).mean() == pytest.approx(counts_between(frames, 8, 18).mean(), abs=0.5)


@pytest.mark.parametrize(("kind", "ratio"), [("meter_low", 0.8), ("meter_missing", 0.8)])
def test_a_meter_that_reads_low_leaves_the_pressure_alone(kind: str, ratio: float) -> None:
    found = change(kind, amount=0.2)
    assert found.pressure == pytest.approx(1.0, abs=0.003)
    assert found.flow == pytest.approx(ratio, abs=0.06 if kind == "meter_missing" else 0.003)


def test_meter_noise_adds_its_pulses_and_some_are_refused_as_glitches() -> None:
    frames, _ = frames_of(one_pass(Disturbance("meter_noise", 20.0, amount=50.0)))
    added = int(frames["flow_count"][-1]) - int(frames["flow_count"][199]) - 25.55 * 20
    assert added == pytest.approx(50 * 20, abs=150)
    assert (frames["flags"][200:] & Flag.FLOW_GLITCH).any()
    assert not (frames["flags"][:199] & Flag.FLOW_GLITCH).any()


@pytest.mark.parametrize(("kind", "counts"), [("transducer_open", 0), ("transducer_short", 1023)])
def test_a_broken_signal_wire_sends_the_converter_to_its_rail(kind: str, counts: int) -> None:
    frames, _ = frames_of(one_pass(Disturbance(kind, 20.0)))
    assert (frames["pressure_mean"][210:] == 16 * counts).all()


def test_a_frozen_transducer_repeats_one_value() -> None:
    frames, _ = frames_of(one_pass(Disturbance("transducer_frozen", 20.0), quiet=False))
    assert np.unique(frames["pressure_mean"][202:]).size == 1
    assert (frames["pressure_min"][202:] == frames["pressure_max"][202:]).all()
    assert np.unique(frames["pressure_mean"][100:199]).size > 20


def test_transducer_drift_moves_the_pressure_and_not_the_flow() -> None:
    found = change("transducer_drift", amount=spent(4.0))
    assert found.pressure == pytest.approx(1.10, abs=0.005)
    assert found.flow == pytest.approx(1.0, abs=0.002)


def test_wheel_stuck_and_wheel_slip() -> None:
    stuck, _ = frames_of(one_pass(Disturbance("wheel_stuck", 20.0)))
    steady, _ = frames_of(one_pass())
    slipping, _ = frames_of(one_pass(Disturbance("wheel_slip", 20.0, amount=0.3)))
    assert stuck["wheel_count"][-1] == stuck["wheel_count"][200]
    before = int(steady["wheel_count"][199])
    gained = (int(slipping["wheel_count"][-1]) - before) / (int(steady["wheel_count"][-1]) - before)
    assert gained == pytest.approx(0.7, abs=0.02)


def test_an_empty_battery_is_seen_by_the_board() -> None:
    frames, _ = frames_of(one_pass(Disturbance("battery", 20.0, amount=0.3)))
    low = (frames["flags"] & Flag.SUPPLY_LOW) > 0
    assert not low[:199].any()
    assert low[201:].all()


def test_a_fault_that_ends_leaves_no_trace() -> None:
    frames, _ = frames_of(one_pass(Disturbance("clog", 10.0, amount=1.0, lasts_s=5.0)))
    assert flow_between(frames, 25, 38) == pytest.approx(flow_between(frames, 4, 9), rel=0.002)


def test_every_kind_of_event_can_be_run() -> None:
    amounts = {"fraction": 0.2, "pressure": spent(30.0), "frequency": 40.0, None: 1.0}
    for name, kind in KINDS.items():
        event = Disturbance(name, 3.0, amount=amounts[kind.amount], lasts_s=2.0)
        frames, _ = frames_of(one_pass(event, seconds=8.0, quiet=False))
        assert len(frames) > 40, name
