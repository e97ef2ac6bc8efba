"""How Swardflow answers each kind of printed example: through its public functions, from text with units."""

# ruff: noqa: PLW0108 - the lambdas name the inputs as the data files do, the functions with their SI units.

import math

from host.formulas import (
    agitation_flow,
    application_rate,
    course_length_for_128th_acre,
    density_factor,
    flow_for_rate,
    flow_from_frequency,
    orifice_coefficient,
    orifice_flow,
    pressure_for_flow,
    speed_over_course,
    time_over_course,
)

# The density of water that the sources on non-water solutions divide by.
WATER_LB_PER_GAL = 8.34
# What the Hydraulic Institute's constants imply, 29.84 against 19.636: 2.31 ft of water to the psi.
WATER_KG_M3 = 998.6

KINDS = {
    "flow": "flow", "speed": "speed", "from": "speed", "to": "speed", "swath": "length", "catch": "volume",
    "course": "length", "time": "time", "spacing": "length", "rate": "rate", "volume": "volume", "area": "area",
    "pressure": "pressure", "at": "pressure", "bore": "length", "density": "density", "tank": "volume",
    "share": "fraction", "frequency": "frequency", "factor": "pulses_per_volume",
}  # fmt: skip


def lb_per_gal(density_kg_m3: float) -> float:
    return density_kg_m3 / (0.45359237 / 3.785411784e-3)


# What is asked -> (kind of the answer, how it is answered). Inputs and answers in SI.
ANSWERS = {
    "rate from flow": ("rate", lambda flow, speed, swath: application_rate(flow, speed, swath)),
    # Over a course, volume and length stand for flow and speed: the time cancels.
    "rate from catch": ("rate", lambda catch, course, swath: application_rate(catch, course, swath)),
    "rate over plot": ("rate", lambda volume, area: application_rate(volume, area, 1.0)),
    "rate of a boom": (
        "rate",
        lambda catch, nozzles, spacing, course, time: application_rate(
            nozzles * catch / time, speed_over_course(course, time), nozzles * spacing
        ),
    ),
    "flow for rate": ("flow", lambda rate, speed, swath: flow_for_rate(rate, speed, swath)),
    "conversion": (None, lambda value: value),
    "speed": ("speed", lambda course, time: speed_over_course(course, time)),
    "time over course": ("time", lambda course, speed: time_over_course(course, speed)),
    "course for 1/128 acre": ("length", lambda spacing: course_length_for_128th_acre(spacing)),
    # Same rate at another speed: the flow rises with the speed.
    "pressure for another speed": (
        "pressure",
        lambda pressure, **speeds: pressure_for_flow(speeds["to"], orifice_coefficient(speeds["from"], pressure)),
    ),
    # Torricelli: v = √(2P/ρ) through the whole bore.
    "flow of an ideal nozzle": (
        "flow",
        lambda bore, pressure: orifice_flow(math.pi / 4 * bore**2 * math.sqrt(2 / WATER_KG_M3), pressure),
    ),
    "flow at another pressure": (
        "flow",
        lambda flow, at, pressure: orifice_flow(orifice_coefficient(flow, at), pressure),
    ),
    "density factor": ("fraction", lambda density: density_factor(lb_per_gal(density) / WATER_LB_PER_GAL)),
    "specific gravity": ("fraction", lambda density: lb_per_gal(density) / WATER_LB_PER_GAL),
    "water equivalent": (
        "rate",
        lambda rate, density: rate * density_factor(lb_per_gal(density) / WATER_LB_PER_GAL),
    ),
    "flow from frequency": ("flow", lambda frequency, factor: flow_from_frequency(frequency, factor)),
    "agitation": ("flow", lambda tank, share: agitation_flow(tank, share)),
    "turnover time": ("time", lambda tank, share: tank / agitation_flow(tank, share)),
}
