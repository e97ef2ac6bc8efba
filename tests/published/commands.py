"""How the commands answer each kind of printed example: a rig file and the words that a keeper would type.

Numbers go in as the handbook prints them, with its units; the answer is read from the command's JSON. A sprayer's own
file says what a handbook says of its sprayer (nozzles, tip, tank); the rest is typed as options.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from host.units import parse_quantity
from tests.host.plan.asking import ask

RIG = """
name = "Handbook's"
[tank]
volume = "{tank}"
[boom]
nozzles = {nozzles}
spacing = "{spacing}"
swath = "{swath}"
[nozzle]
flow = "{flow}"
at = "{at}"
[meter]
factor = "1700 pulses/gal"
[course]
distance = "{course}"
time = "{time}"
[target]
rate = "20 gal/acre"
"""
USUAL = {
    "tank": "25 gal", "nozzles": 1, "spacing": "20 in", "swath": "20 in", "flow": "0.4 gpm", "at": "40 psi",
    "course": "200 ft", "time": "45 s",
}  # fmt: skip


# kg/m³, of the air and of the weights that a balance is adjusted with: ISO 8655-6.
AIR, WEIGHTS = 1.2, 8000.0


class Sprayer:
    """A rig file in a folder, and the commands about it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def ask(self, command: str, *words: str, **rig: Any) -> Any:
        """The JSON of a command; it must not be refused. `rig` says what is not `USUAL` in the rig file."""
        file = self.folder / "handbook.toml"
        file.write_text(RIG.format(**{**USUAL, **rig}), encoding="utf-8")
        said = ask(*command.split(), "--rig", str(file), *words, "--json")
        assert said.code in (0, 1) and not said.err, said.err
        return json.loads(said.out)

    def rate(self, *words: str, **rig: Any) -> Any:
        """`plan rate`; cards of nobody."""
        return self.ask("plan rate", *words, "--cards", str(self.folder / "none"), **rig)

    def refill(self, volume: str, area: str) -> float:
        """`plan refill`: the rate in m³/m²."""
        found = self.ask("plan refill", "--volume", volume, "--area", area, "--cards", str(self.folder / "none"))
        return si(found["field_rate_gal_per_acre"], "gal/acre", "rate")

    def calibrate(self, kind: str, *words: str, **rig: Any) -> Any:
        """`calibrate`, without a card."""
        return self.ask(f"calibrate {kind}", *words, "--no-card", "--cards", str(self.folder / "none"), **rig)


def si(value: float, unit: str, kind: str) -> float:
    """A number from JSON, in SI."""
    return value * parse_quantity(f"1 {unit}", kind, "unit")


def _rate(found: Any) -> float:
    return si(found["field_rate_gal_per_acre"], "gal/acre", "rate")


def _flow(found: Any) -> float:
    return si(found["nozzle_flow_gal_per_min"], "gal/min", "flow")


def _targets(ask: Sprayer, *words: str, **rig: str) -> Any:
    return ask.rate("--pressure", "40 psi", *words, **rig)["targets"]


def _pressure_for_speed(ask: Sprayer, pressure: str, **speeds: str) -> float:
    """What rate the pressure gives at the one speed, and the pressure for that rate at the other."""
    first = ask.rate("--pressure", pressure, "--speed", speeds["from"])
    rate = f"{first['field_rate_gal_per_acre']!r} gal/acre"
    return si(ask.rate("--rate", rate, "--speed", speeds["to"])["pressure_psi"], "psi", "pressure")


def _boom_flow(ask: Sprayer, rate: str, speed: str, swath: str) -> float:
    """Of a boom with a nozzle on about every 20 in of its swath."""
    nozzles = max(1, round(parse_quantity(swath, "length", "swath") / 0.508))
    found = ask.rate("--rate", rate, "--speed", speed, nozzles=nozzles, swath=swath)
    return si(found["boom_flow_gal_per_min"], "gal/min", "flow")


def _density_factor(ask: Sprayer, density: str) -> float:
    water, liquid = (
        _flow(ask.rate("--pressure", "40 psi", "--speed", "3 mph", *words)) for words in ((), ("--density", density))
    )
    return water / liquid


def _water_equivalent(ask: Sprayer, rate: str, density: str) -> float:
    """What water would put down at the pressure that the liquid needs."""
    heavy = ask.rate("--rate", rate, "--speed", "3 mph", "--density", density)
    return _rate(ask.rate("--pressure", f"{heavy['pressure_psi']!r} psi", "--speed", "3 mph"))


def _converted(ask: Sprayer, value: str, kind: str) -> float:
    """A size as the command shows it in the other system of units."""
    if kind == "volume":
        return ask.refill(value, "1 m2")
    if kind == "area":
        return si(1.0, "gal", "volume") / ask.refill("1 gal", value)
    if kind == "rate":
        found = _mix(ask, "--product", "1 fl oz/acre", "--area", "1 acre", "--rate", value, "--units", "metric")
        return si(found["field_rate_L_per_ha"], "L/ha", "rate")
    option, key, unit = {
        "speed": ("--speed", "speed_km_per_h", "km/h"),
        "pressure": ("--pressure", "pressure_bar", "bar"),
        "flow": ("--nozzle-flow", "nozzle_flow_L_per_min", "L/min"),
    }[kind]
    beside = ("--pressure", "40 psi") if kind == "speed" else ("--speed", "3 mph")
    return si(ask.rate(option, value, *beside, "--units", "metric")[key], unit, kind)


def _agitation(ask: Sprayer, tank: str, share: str) -> float:
    found = ask.ask("plan pump", "--agitation", share, "--pressure", "40 psi", tank=tank)
    return si(found["agitation_gal_per_min"], "gal/min", "flow")


def _pump(ask: Sprayer, nozzles: int, flow: str, tank: str, mix: str, margin: str) -> float:
    words = ("--mix", mix, "--margin", margin, "--pressure", "40 psi")
    found = ask.ask("plan pump", *words, nozzles=nozzles, flow=flow, tank=tank)
    return si(found["need_with_margin_gal_per_min"], "gal/min", "flow")


def _boom_rate(ask: Sprayer, catch: str, nozzles: int, spacing: str, course: str, time: str) -> float:
    assert spacing == USUAL["spacing"]
    test = ask.calibrate(
        "boom", "--catch", "40 psi", time, *(catch,) * nozzles,
        nozzles=nozzles, spacing=spacing, swath=f"{nozzles * 20} in", course=course, time=time,
    )  # fmt: skip
    return si(test["catches"][0]["rate_gal_per_1000_ft2"], "gal/1000 ft2", "rate")


def _caught_frequency(ask: Sprayer, frequency: str, factor: str) -> float:
    """The flow at which that frequency is counted: a catch of a minute gives frequency and factor back."""
    per_gallon = float(factor.removesuffix(" pulses/gal"))
    pulses = 60.0 * parse_quantity(frequency, "frequency", "frequency")
    found = ask.calibrate("meter", "--catch", f"{pulses:.0f}", f"{pulses / per_gallon!r} gal", "60 s")["curve"][0]
    return si(60.0 * found["frequency_hz"] / found["factor_pulses_per_gal"], "gal/min", "flow")


def _mix(ask: Sprayer, *words: str, tank: str = "500 gal") -> Any:
    return ask.ask("mix", *words, "--runs", str(ask.folder / "none"), tank=tank)


def _product(ask: Sprayer, area: str, dose: str, key: str, rate: str = "20 gal/acre") -> float:
    found = _mix(ask, "--product", dose, "--area", area, "--rate", rate)
    return float(found["products"][0][f"amount_{key}"])


def _weighed(ask: Sprayer, mass: str, water: str) -> float:
    """The volume that a weight of water stands for."""
    found = ask.calibrate("meter", "--catch", "1000", mass, "--water", water, "--units", "metric")
    return si(found["catches"][0]["volume_L"], "L", "volume")


# What is asked -> how a command answers it, in SI. "given" numbers come as text, counts as numbers.
COMMANDS: dict[str, Callable[..., float]] = {
    "rate from flow": lambda ask, flow, speed, swath: _rate(
        ask.rate("--pressure", "40 psi", "--speed", speed, flow=flow, swath=swath)
    ),
    "rate from catch": lambda ask, catch, course, swath: ask.refill(catch, f"{course} x {swath}"),
    "rate over plot": lambda ask, volume, area: ask.refill(volume, area),
    "rate of a boom": _boom_rate,
    "flow for rate": _boom_flow,
    "conversion": _converted,
    "speed": lambda ask, course, time: si(
        ask.calibrate("course", "--course", course, "--times", time)["speed_mph"], "mph", "speed"
    ),
    "time over course": lambda ask, course, speed: float(
        _targets(ask, "--speed", speed, "--course", course)["course_time_s"]
    ),
    "course for 1/128 acre": lambda ask, spacing: si(
        _targets(ask, "--speed", "3 mph", swath=spacing)["jug_course_ft"], "ft", "length"
    ),
    "pressure for another speed": _pressure_for_speed,
    "flow at another pressure": lambda ask, flow, at, pressure: _flow(
        ask.rate("--pressure", pressure, "--speed", "3 mph", flow=flow, at=at)
    ),
    "density factor": _density_factor,
    "specific gravity": lambda ask, density: _density_factor(ask, density) ** 2,
    "water equivalent": _water_equivalent,
    "flow from frequency": _caught_frequency,
    "agitation": _agitation,
    "turnover time": lambda ask, tank, share: parse_quantity(tank, "volume", "tank") / _agitation(ask, tank, share),
    "pump with its margin": _pump,
    "product for an area": _product,
    "mix for an area": lambda ask, area, rate: si(
        _mix(ask, "--product", "1 fl oz/acre", "--area", area, "--rate", rate)["mix_gal"], "gal", "volume"
    ),
    "product in a tank": lambda ask, tank, rate, dose, key: float(
        _mix(ask, "--product", dose, "--rate", rate, tank=tank)["products"][0][f"amount_{key}"]
    ),
    "area of a tank": lambda ask, tank, rate: si(
        _mix(ask, "--product", "1 fl oz/acre", "--rate", rate, tank=tank)["area_ft2"], "ft2", "area"
    ),
    "area": lambda ask, shape: si(
        _mix(ask, "--product", "1 fl oz/acre", "--area", shape)["area_ft2"], "ft2", "area"
    ),
    "product per 1000 ft2": lambda ask, dose: float(
        _mix(ask, "--product", dose, "--area", "1 acre")["products"][0]["per_area_fl_oz_per_1000_ft2"]
    ),
    "volume of weighed water": _weighed,
    "density of water": lambda ask, water: 2.0 * (1 - AIR / WEIGHTS) / _weighed(ask, "2 kg", water) + AIR,
}  # fmt: skip

# What no command answers, and why.
NOT_ASKED = {"flow of an ideal nozzle": "a rig has tips with their rated flow, not the bore of a smooth nozzle"}
