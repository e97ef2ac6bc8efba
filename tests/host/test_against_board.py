"""What the rig needs and the board cannot do is a sentence each."""

from __future__ import annotations

import pytest

from host.rig import rig_from_toml
from host.rig.against_board import board_misfits

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
[wheel]
circumference = "4 ft"
pulses_per_turn = 8
[target]
rate = "1 gal/1000 ft2"
"""
FITS = {"protocol": "1.0", "capabilities": 0x3F, "adc_full_scale": 1023, "interval_ms": 100}


@pytest.mark.parametrize("sensor", ["reed", "contact"])
@pytest.mark.parametrize(("table", "words"), [("wheel", "the distance there is"), ("meter", "the flow there is")])
def test_a_contact_on_a_board_that_cannot_filter_it(sensor: str, table: str, words: str) -> None:
    rig = rig_from_toml(RIG.replace(f"[{table}]", f'[{table}]\nsensor = "{sensor}"'))
    (message,) = board_misfits(rig, FITS)
    assert sensor in message and words in message and "Load firmware 1.1" in message
    assert board_misfits(rig, FITS | {"protocol": "1.1"}) == ()
    assert board_misfits(rig, FITS | {"protocol": "1.12"}) == ()


def test_hall_sensors_fit_an_old_board() -> None:
    assert board_misfits(rig_from_toml(RIG), FITS) == ()


def test_what_is_missing_is_said() -> None:
    rig = rig_from_toml(RIG)
    assert any("no wheel input" in message for message in board_misfits(rig, FITS | {"capabilities": 1}))
    assert any("no flow meter" in message for message in board_misfits(rig, FITS | {"capabilities": 2}))


@pytest.mark.parametrize(("fitted", "told"), [(0x07, "told by the flow"), (0x06, "not known")])
def test_without_a_switch_input_only_a_flow_meter_input_tells_whether_it_sprays(fitted: int, told: str) -> None:
    rig = rig_from_toml("spray_switch = true\n" + RIG)
    assert board_misfits(rig, FITS | {"capabilities": fitted})[-1].endswith(f"whether it sprays is {told}.")
