"""Another sprayer than the simulator's: runs with what the fault watch was not built on. For the bench only.

A boom that fills, a rotor whose lag grows as the flow falls and that runs down, a switch that is missing, early, late
or bouncing, a transducer before or behind the valve with a zero error of either sign, a set pressure that wanders, an
operator. The physics are written anew and share nothing with host/simulate but the orifice law; the figures are ours.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from firmware_protocol.messages import MEAN_STEPS, Flag
from host.frames import FRAME_DTYPE
from host.rig import Rig, rig_from_toml

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
DT = 0.005
GPM = 3.785411784e-3 / 60.0  # m³/s (NIST SP 811)
FULL_SCALE, SPAN_PSI = 1023, 100.0
METRES_PER_PULSE = 0.12


@dataclass(frozen=True)
class Make:
    """One sprayer and its site."""

    nozzles: int = 3
    nozzle_gpm: float = 0.3  # at 40 psi
    per_litre: float = 450.0
    interval_s: float = 0.1
    switch: str = "exact"  # or none, bouncing
    switch_on_early_s: float = 0.0  # before the valve opens
    switch_off_late_s: float = 0.0  # after the valve has shut
    behind_valve: bool = False
    lag_s: float = 0.22  # of the rotor at the usual flow
    lag_growth: float = 0.3  # lag goes with flow to minus this
    fill_s: float = 0.2
    hoses_s: float = 0.0  # flow that hoses and trapped air take in, per flow and per rise of ln P in a second
    set_psi: float = 40.0
    wander: float = 0.02
    droop: float = 0.12
    pump_reserve: float = 1.6
    zero_psi: float = 0.0
    zero_drift_psi: float = 0.15  # standard deviation, 30 min
    meter_drift: float = 0.003  # 20 min
    poles: int = 6
    pole_error: float = 0.03
    jitter: float = 0.01
    pulsation: float = 0.03
    bumps: float = 0.02
    jolts_per_minute: float = 2.0
    speed_m_s: float = 1.1


@dataclass(frozen=True)
class Thing:
    """Something that happens: a fault or the operator. `amount` as each kind needs it."""

    kind: str
    at_s: float
    amount: float = 1.0
    lasts_s: float = float("inf")
    over_s: float = 0.0

    def strength(self, t: Floats) -> Floats:
        grown = np.clip((t - self.at_s) / self.over_s, 0.0, 1.0) if self.over_s > 0 else 1.0
        return np.where((t >= self.at_s) & (t < self.at_s + self.lasts_s), grown, 0.0)


@dataclass(frozen=True)
class Run:
    """What came of it."""

    rig: Rig
    frames: npt.NDArray[Any]
    spraying_s: float  # sprayed
    passes: list[tuple[float, float]] = field(default_factory=list)


def wandering(rng: np.random.Generator, n: int, tau_s: float, sd: float) -> Floats:
    """A slow first-order process (Ornstein-Uhlenbeck) on a grid of 1 s, laid out on the fine one."""
    coarse = int(n * DT) + 2
    keep = np.exp(-1.0 / tau_s)
    shocks = rng.standard_normal(coarse) * sd * np.sqrt(1 - keep * keep)
    shocks[0] = sd * rng.standard_normal()
    return np.interp(np.arange(n) * DT, np.arange(coarse), lfilter([1.0], [1.0, -keep], shocks))


def _lagged(values: Floats, tau_s: float, start: float) -> Floats:
    keep = np.exp(-DT / tau_s)
    return np.asarray(lfilter([1 - keep], [1.0, -keep], values, zi=[keep * start])[0])


class World:
    """What happens when, on the fine grid."""

    def __init__(self, t: Floats, things: list[Thing]) -> None:
        self.t, self.things = t, things

    def total(self, *kinds: str) -> Floats:
        """Sum of amount times strength."""
        of_kind = (x for x in self.things if x.kind in kinds)
        return np.asarray(sum((x.amount * x.strength(self.t) for x in of_kind), np.zeros(len(self.t))))

    def active(self, *kinds: str) -> Bools:
        """Where any of these is."""
        found = [x.strength(self.t) > 0 for x in self.things if x.kind in kinds]
        return np.asarray(np.logical_or.reduce([np.zeros(len(self.t), bool), *found]))


def make_run(make: Make, passes: list[tuple[float, float]], things: list[Thing], rng: np.random.Generator) -> Run:
    """Spray `passes` (on, off: s) with `make`, with `things` happening."""
    duration = passes[-1][1] + 6.0
    n = int(duration / DT)
    t = np.arange(1, n + 1) * DT

    world = World(t, things)
    total, active = world.total, world.active
    wanted = np.searchsorted(np.array(passes).ravel(), t) % 2 == 1
    trigger = wanted & ~active("let_go")
    open_ = trigger & ~active("valve_shut", "hand_shut")
    valve = _lagged(open_.astype(float), 0.04, 0.0)
    coefficient = make.nozzles * make.nozzle_gpm * GPM / np.sqrt(40.0)  # per √psi
    share = np.clip(
        1.0 - total("clog") / make.nozzles - total("section") + total("wear", "leak", "lost_tip") / make.nozzles,
        0.02,
        9.0,
    )
    pressure, flow, supply_low = _hydraulics(make, world, coefficient * share * valve, coefficient, rng)
    filled = _filled(make, t, valve)
    metered = flow * (1.0 + 0.25 * (1.0 - filled)) if make.fill_s > 0 else flow
    if make.hoses_s > 0:
        runs = np.gradient(np.log(np.maximum(pressure, 1.0)), DT)
        metered = metered * np.maximum(1.0 + make.hoses_s * np.where(valve > 0.99, runs, 0.0), 0.0)
    seen = pressure * np.where(make.behind_valve, valve * filled, 1.0)
    if make.behind_valve:
        seen = _lagged(seen, 0.06, 0.0)
    moving = _speed(make, t, passes, things)
    seen = seen * (1.0 + _ripple(make, t, moving > 0.05, rng))
    frames = _frames(make, t, duration, rng)
    edges, glitches = _flow_edges(make, world, metered, rng)
    _count(frames, "flow", edges)
    wheel = np.cumsum(np.where(active("wheel_stuck"), 0.0, moving)) * DT / METRES_PER_PULSE + rng.random()
    _count(frames, "wheel", np.interp(np.arange(1, int(wheel[-1]) + 1), wheel, t))
    _pressures(frames, make, world, seen, rng)
    switch = _switch(make, t, trigger, rng)
    at = np.searchsorted(t, frames["clock"] * 1e-6) - 1
    flags = np.where(switch[at], int(Flag.SPRAY), 0) if make.switch != "none" else np.zeros(len(at), dtype=int)
    flags |= np.where(supply_low[at], int(Flag.SUPPLY_LOW), 0)
    if len(glitches):
        flags |= np.where(
            np.histogram(glitches, np.concatenate(([0.0], frames["clock"] * 1e-6)))[0] > 0, int(Flag.FLOW_GLITCH), 0
        )
    frames["flags"] = flags
    used_m3 = float(np.sum(flow[t < next((x.at_s for x in things if x.kind == "tank_empty"), -1.0)]) * DT)
    return Run(_rig(make, used_m3), frames, float(np.sum(wanted) * DT), passes)


def _hydraulics(
    make: Make, world: World, opening: Floats, healthy: float, rng: np.random.Generator
) -> tuple[Floats, Floats, Bools]:
    """Pressure before the valve (psi), flow (m³/s), and where the supply is low."""
    t, total, active = world.t, world.total, world.active
    n = len(t)
    set_psi = make.set_psi * (1.0 + wandering(rng, n, 120.0, make.wander)) * (1.0 - total("regulator"))
    for thing in world.things:
        if thing.kind == "knob":
            set_psi = set_psi * (1.0 + thing.amount * thing.strength(t))
    # P = set·(1 + D·(1 - Q/Q₀)) with x = √P: x² + a·x - b = 0
    rated = healthy * np.sqrt(make.set_psi)
    a, b = set_psi * make.droop * opening / rated, set_psi * (1.0 + make.droop)
    held = (0.5 * (np.sqrt(a * a + 4 * b) - a)) ** 2
    # The pump: a straight line from open flow to shut-off at 90 psi; what it can give bounds the pressure.
    voltage = 1.0 - total("battery") - 0.00001 * t
    open_flow = make.pump_reserve * rated / (1.0 - make.set_psi / 90.0) * voltage * (1.0 - total("strainer"))
    open_flow = np.where(active("pump_off"), 1e-12, open_flow)
    slope = open_flow / 90.0
    limit = ((np.sqrt(opening * opening + 4 * slope * open_flow) - opening) / np.maximum(2 * slope, 1e-15)) ** 2
    pressure = np.where(active("pump_off"), 0.0, np.minimum(held, limit))
    gas = total("air", "bubble_pump")
    noise = np.minimum(np.abs(lfilter([np.sqrt(1 - 0.95**2)], [1.0, -0.95], rng.standard_normal(n))), 1.0)
    pressure = pressure * (1.0 - np.clip(gas * noise, 0.0, 0.95))
    dry = active("tank_empty")
    pressure = np.where(dry, pressure * 0.25 * noise, pressure)
    pressure = _lagged(pressure, 0.08, float(pressure[0]))
    flow = opening * np.sqrt(np.maximum(pressure, 0.0)) * np.where(dry, 0.3 + 0.7 * noise, 1.0) * (1.0 - total("dip"))
    return pressure, flow, np.asarray(voltage < 0.8)


def _filled(make: Make, t: Floats, valve: Floats) -> Floats:
    """How full the boom is, 0 to 1: it drains while the valve is shut and fills when it opens."""
    if make.fill_s <= 0:
        return np.ones(len(t))
    full, out, empty = 1.0 - np.exp(-3.0), [], 1.0
    fill, drain = DT / make.fill_s * 3.0, DT / 20.0
    level = 0.0
    for v in (valve > 0.5).tolist():
        level += (empty - level) * fill if v else -level * drain
        out.append(level)
    return np.minimum(np.array(out) / full, 1.0)


def _speed(make: Make, t: Floats, passes: list[tuple[float, float]], things: list[Thing]) -> Floats:
    speed = np.full(len(t), 0.5 * make.speed_m_s)
    for on, off in passes:
        speed[(t >= on - 0.3) & (t < off + 0.3)] = make.speed_m_s
    speed[t < passes[0][0] - 0.5] = 0.0
    speed = speed * (1.0 + 0.04 * np.sin(2 * np.pi * 1.8 * t))
    for thing in things:
        if thing.kind == "stand":
            inside = (t >= thing.at_s) & (t < thing.at_s + thing.lasts_s)
            speed = np.where(
                inside, speed * np.exp(-np.maximum(t - thing.at_s, 0.0) / max(thing.over_s / 3.0, 0.01)), speed
            )
            speed = np.where(inside & (speed < 0.03), 0.0, speed)
        elif thing.kind == "pace":
            speed = speed * (1.0 + thing.amount * thing.strength(t))
    return speed


def _ripple(make: Make, t: Floats, moving: Bools, rng: np.random.Generator) -> Floats:
    n = len(t)
    strokes = make.pulsation * np.sin(2 * np.pi * (30.0 * t + np.cumsum(rng.standard_normal(n)) * 0.002))
    pole, damping = 2 * np.pi * 1.8 * DT, 0.15
    r = np.exp(-damping * pole)
    kicks = np.where(moving, rng.standard_normal(n), 0.0)
    gain = np.sqrt((1 - r * r) * (1 - 2 * r * r * np.cos(2 * pole) + r**4) / (1 + r * r))
    jolts = rng.random(n) < make.jolts_per_minute / 60.0 * DT
    kicks[jolts & moving] += 30.0 * rng.standard_normal(int((jolts & moving).sum()))
    return strokes + make.bumps * lfilter([gain], [1.0, -2 * r * np.cos(pole), r * r], kicks)


def _flow_edges(make: Make, world: World, metered: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Times of the edges that the board takes, and of those that it refuses."""
    t, total, active = world.t, world.total, world.active
    usual = max(float(np.quantile(metered[metered > 0], 0.5)) if (metered > 0).any() else 1.0, 1e-12)
    turning, w = [], 0.0
    target = (metered / usual).tolist()
    for q in (value if value > 0.003 else 0.0 for value in target):
        tau = make.lag_s * max(w, q, 0.05) ** -make.lag_growth
        w += (q - w) * min(DT / tau, 1.0)
        if q == 0.0 and w < 0.06:
            w = 0.0
        turning.append(w)
    hz = np.array(turning) * usual * 1000.0 * make.per_litre
    hz *= (1.0 + wandering(rng, len(t), 1200.0, make.meter_drift)) * (1.0 - np.minimum(total("meter_low"), 1.0))
    uneven = total("air", "bubble_jitter", "bubble_pump") + np.where(active("tank_empty"), 0.8, 0.0)
    phase = np.cumsum(hz) * DT + rng.random()
    count = int(phase[-1])
    number = np.arange(1, count + 1)
    place = make.pole_error * rng.standard_normal(make.poles)
    rough = 1.0 + 15.0 * np.interp(number, phase, np.minimum(uneven, 1.0))
    steps = rng.standard_normal(count) * make.jitter * rough
    strayed = lfilter([1.0], [1.0, -0.999], steps)
    threshold = np.maximum.accumulate(number + strayed + (place - place.mean())[number % make.poles])
    edges = np.interp(threshold, phase, t)
    edges = edges[threshold <= phase[-1]]
    lost = np.interp(edges, t, np.minimum(total("meter_missing") + active("meter_stuck"), 1.0))
    edges = edges[rng.random(len(edges)) >= lost]
    rate = total("meter_noise", "spike")
    false = t[rng.random(len(t)) < rate * DT]
    edges = np.sort(np.concatenate((edges, false - DT * rng.random(len(false)))))
    close = np.diff(edges, prepend=-1.0) < 0.0005
    return edges[~close], edges[close]


def _frames(make: Make, t: Floats, duration: float, rng: np.random.Generator) -> npt.NDArray[Any]:
    at = np.arange(make.interval_s, duration - 0.1, make.interval_s)
    frames = np.zeros(len(at), dtype=FRAME_DTYPE)
    frames["clock"] = np.rint(at * 1e6).astype(np.int64)
    frames["seq"] = np.arange(len(at)) % 2**16
    frames["host_s"] = at + 0.002 + rng.exponential(0.002, len(at))
    frames["boot"] = 1
    return frames


def _count(frames: npt.NDArray[Any], name: str, edges: Floats) -> None:
    number = np.searchsorted(edges, frames["clock"] * 1e-6, side="right")
    frames[f"{name}_count"] = number
    last = np.concatenate(([0.0], edges))[number]
    frames[f"{name}_edge"] = np.rint(last * 1e6).astype(np.int64)


def _pressures(frames: npt.NDArray[Any], make: Make, world: World, seen: Floats, rng: np.random.Generator) -> None:
    t, total, active = world.t, world.total, world.active
    zero = make.zero_psi + wandering(rng, len(t), 1800.0, make.zero_drift_psi) + total("zero")
    counts = np.rint((0.1 + 0.8 * (seen + zero) / SPAN_PSI) * FULL_SCALE + rng.standard_normal(len(t)))
    counts = np.clip(counts, 0, FULL_SCALE)
    frozen = active("transducer_frozen")
    if frozen.any():
        counts = np.where(frozen, counts[np.argmax(frozen) - 1], counts)
    counts = np.where(active("transducer_open"), 0, np.where(active("transducer_short"), FULL_SCALE, counts))
    ends = np.searchsorted(t, frames["clock"] * 1e-6 + 1e-9)
    begins = np.concatenate(([0], ends[:-1]))
    sums = np.concatenate(([0.0], np.cumsum(counts)))
    frames["pressure_mean"] = np.rint(MEAN_STEPS * (sums[ends] - sums[begins]) / np.maximum(ends - begins, 1))
    frames["pressure_min"] = np.minimum.reduceat(counts, begins)
    frames["pressure_max"] = np.maximum.reduceat(counts, begins)


def _switch(make: Make, t: Floats, trigger: Bools, rng: np.random.Generator) -> Bools:
    turns = np.flatnonzero(np.diff(trigger.astype(int), prepend=0))
    switch = trigger.copy()
    for i in turns.tolist():
        if trigger[i]:
            switch[max(i - int(make.switch_on_early_s / DT), 0) : i] = True
        else:
            switch[i : i + int(make.switch_off_late_s / DT)] = True
        if make.switch == "bouncing":
            ends = i + rng.integers(1, 13)
            switch[i:ends] = rng.random(len(switch[i:ends])) < 0.5
    return switch


def _rig(make: Make, used_m3: float) -> Rig:
    tank_l = used_m3 * 1000.0 if used_m3 > 0 else 1e4
    return rig_from_toml(
        f"""
name = "other sprayer"
units = "us"
spray_switch = {"true" if make.switch != "none" else "false"}
[tank]
volume = "{max(tank_l, 0.2):.2f} L"
[boom]
nozzles = {make.nozzles}
spacing = "20 in"
[nozzle]
flow = "{make.nozzle_gpm} gpm"
at = "40 psi"
[meter]
factor = "{make.per_litre} /L"
[pressure]
span = ["0 psi", "{SPAN_PSI} psi"]
[wheel]
circumference = "1.20 m"
pulses_per_turn = 10
[target]
rate = "1.0 gal/1000 ft2"
""",
        "bench",
    )
