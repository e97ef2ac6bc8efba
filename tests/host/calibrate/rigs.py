"""Rigs for the tests of calibration and planning."""

from host.rig import Rig, rig_from_toml

FOUR_NOZZLES = """
name = "Test boom"
units = "us"
[tank]
volume = "25 gal"
[pump]
open_flow = "4.0 gpm"
shutoff_pressure = "70 psi"
[boom]
nozzles = {nozzles}
spacing = "20 in"
[nozzle]
flow = "0.35 gpm"
at = "40 psi"
range = ["15 psi", "60 psi"]
[meter]
factor = "450 pulses/L"
[pressure]
span = ["0 psi", "100 psi"]
[wheel]
circumference = "1.20 m"
pulses_per_turn = 10
[target]
rate = "1.0 gal/1000 ft2"
"""


def rig(nozzles: int = 4) -> Rig:
    return rig_from_toml(FOUR_NOZZLES.format(nozzles=nozzles))
