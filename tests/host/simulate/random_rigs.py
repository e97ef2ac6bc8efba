"""Rigs and healthy scenarios drawn at random: for false alarms, which have to be counted over hundreds of hours.

The ranges are design figures of our own for small home-built rigs; no hardware has been measured for them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from host.rig import Rig, rig_from_toml
from host.simulate import settings
from host.simulate.disturbances import Disturbance
from host.simulate.scenario import Scenario
from host.units import PSI_PA

_SET_PSI = 40.0


def small_rig(nozzles: int, nozzle_gpm: float, pulses_per_litre: float) -> Rig:
    """A boom of `nozzles` nozzles of `nozzle_gpm` at 40 psi, with a pump half as large again as it needs."""
    pump_gpm = 1.5 * nozzles * nozzle_gpm / (1.0 - _SET_PSI / 90.0)
    return rig_from_toml(
        f"""
name = "{nozzles} nozzles of {nozzle_gpm} gpm, {pulses_per_litre:g} pulses/L"
units = "us"
spray_switch = true
[tank]
volume = "50 gal"
[pump]
open_flow = "{pump_gpm:.4f} gpm"
shutoff_pressure = "90 psi"
[boom]
nozzles = {nozzles}
spacing = "20 in"
[nozzle]
flow = "{nozzle_gpm} gpm"
at = "{_SET_PSI} psi"
[meter]
factor = "{pulses_per_litre} /L"
[pressure]
span = ["0 psi", "100 psi"]
[wheel]
circumference = "1.20 m"
pulses_per_turn = 10
[target]
rate = "1.0 gal/1000 ft2"
""",
        "drawn rig",
    )


def healthy_scenario(rig: Rig, rng: np.random.Generator, hours: float, drift: float = 1.0) -> Scenario:
    """A healthy rig with everything that must not raise an alarm; `drift` multiplies the slow drifts of the sensors.

    Uneven passes of 10 to 60 s, knob turns, pace changes, jolts, a sagging battery, bubbles and electrical spikes.
    """

    def between(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    pace = between(0.8, 1.3)
    seconds = rng.uniform(10.0, 60.0, 64)
    duration_s = hours * 3600.0
    passes = int(duration_s / (seconds.mean() + 6.0)) + 64
    scenario = Scenario(
        rig=rig,
        seed=int(rng.integers(2**31)),
        title=f"healthy, {rig.name}",
        duration_s=duration_s,
        walk=settings.WalkSettings(
            passes=passes,
            length_m=pace,
            lengths=tuple(seconds.tolist()),
            pace_m_s=pace,
            paces=tuple(rng.uniform(0.85, 1.15, 17).tolist()),
            variation=between(0.02, 0.05),
            refill_after=tuple(range(20, passes, 20)),
        ),
        pump=settings.PumpSettings(between(25, 35), between(0.01, 0.05), between(0.0, 0.03)),
        regulator=settings.RegulatorSettings(_SET_PSI * PSI_PA, between(0.08, 0.18), 0.08),
        ground=settings.GroundSettings(between(0.01, 0.03), between(0.5, 4.0), between(0.03, 0.10)),
        meter=settings.MeterSettings(
            poles=int(rng.integers(4, 9)), jitter=between(0.005, 0.015), lag_s=between(0.15, 0.30), drift=0.003 * drift
        ),
        transducer=settings.TransducerSettings(
            zero_error_pa=between(-0.5, 0.5) * PSI_PA, drift_pa=0.15 * PSI_PA * drift, noise_counts=between(0.5, 1.5)
        ),
        board=settings.BoardSettings(clock_error=between(-0.005, 0.005)),
    )
    return replace(scenario, disturbances=_harmless_disturbances(rng, duration_s))


def _harmless_disturbances(rng: np.random.Generator, duration_s: float) -> tuple[Disturbance, ...]:
    """Knob turns every 15 min, pace changes every 3 min, a bubble every 20 min and a spike every 10 min on average."""
    disturbances: list[Disturbance] = []
    for kind, every_s in (("knob", 900.0), ("pace", 180.0), ("bubble", 1200.0), ("spike", 600.0)):
        times = np.sort(rng.uniform(0.0, duration_s, rng.poisson(duration_s / every_s)))
        disturbances += [_harmless_disturbance(kind, at_s, rng) for at_s in times.tolist()]
    return tuple(disturbances)


def _harmless_disturbance(kind: str, at_s: float, rng: np.random.Generator) -> Disturbance:
    if kind == "knob":
        return Disturbance(kind, at_s, amount=float(rng.uniform(30, 45)) * PSI_PA, over_s=float(rng.uniform(0.5, 3.0)))
    if kind == "pace":
        lasts = float(rng.uniform(3, 15))
        return Disturbance(kind, at_s, amount=float(rng.uniform(0.7, 1.3)), over_s=1.0, lasts_s=lasts)
    if kind == "bubble":
        return Disturbance(kind, at_s, amount=0.3, lasts_s=float(rng.uniform(0.1, 0.4)))
    return Disturbance(kind, at_s, amount=float(rng.uniform(50, 300)), lasts_s=float(rng.uniform(0.02, 0.1)))
