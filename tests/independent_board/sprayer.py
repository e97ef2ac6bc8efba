"""The sprayer: pump, hose, nozzles by the root law, meter with a rotor, wheel, walker. Times in s, SI throughout."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

STEP_S = 0.005
_HOSE_M3 = 2e-6  # what the hose takes up until it has its full pressure, and gives back when the valve is shut
_START_S = 3.0


@dataclass(frozen=True)
class Plan:
    """What is sprayed with what. The meter gives `pulses_per_m3`, the wheel one pulse in `metres_per_pulse`."""

    passes: int = 4
    pass_m: float = 20.0
    turn_s: float = 8.0
    pace_m_s: float = 1.1
    swath_m: float = 2.032
    flow_m3_s: float = 8.0e-5  # all nozzles at `pressure_pa`
    pressure_pa: float = 276e3
    pulses_per_m3: float = 450e3
    metres_per_pulse: float = 0.12
    poles_uneven: float = 0.05
    magnets_uneven: float = 0.05
    stands: tuple[tuple[int, float, float], ...] = ()  # pass (from 1), after so many metres, for so many seconds
    from_rest: bool = False  # each pass is begun standing, the spray opened with the first step
    slow_s: float = 0.0  # the time constant with which a walker stops and sets off; 0: at once
    full_scale: int = 1023
    valve_late_s: float = 0.04  # the switch is this far ahead of the valve
    hose_up_s: float = 0.12
    rotor_s: tuple[float, float] = (0.05, 0.07)  # its lag, gathering speed and running down


@dataclass(frozen=True)
class Sprayer:
    """What happened, on a grid of STEP_S: arrays of shape (n,). Pulse times are in s."""

    plan: Plan
    t: Floats
    place_m: Floats  # way gone so far
    sprayed_m3: Floats  # out of the nozzles so far
    open_m: Floats  # way gone with the valve open so far
    switch: npt.NDArray[np.bool_]
    reading: Floats  # of the converter, counts
    flow_pulse_s: Floats
    wheel_pulse_s: Floats
    passes_s: tuple[tuple[float, float], ...]  # valve open

    def between(self, of: Floats, begin_s: float, end_s: float) -> float:
        """How much a running total grew between two times."""
        begin, end = np.interp([begin_s, end_s], self.t, of)
        return float(end - begin)


def spray(plan: Plan, rng: np.random.Generator) -> Sprayer:
    """Walk and spray the plan."""
    pace = _pace(plan, rng)
    speed, valve = _walk(plan, pace)
    t = np.arange(len(speed)) * STEP_S
    place = np.cumsum(speed) * STEP_S
    supply = plan.pressure_pa * (1 + 0.01 * _wander(len(t), 20.0, rng))
    pressure = _hose(valve, supply / plan.pressure_pa, plan) * plan.pressure_pa
    out = plan.flow_m3_s * np.sqrt(pressure / plan.pressure_pa)
    filling = np.diff(pressure, prepend=0.0) * _HOSE_M3 / plan.pressure_pa / STEP_S
    metered = np.where(valve, out + filling, 0.0)
    rotor = _lagged(metered * plan.pulses_per_m3, *plan.rotor_s)
    slip = 1 + 0.002 * _wander(len(t), 5.0, rng)
    ahead = round(plan.valve_late_s / STEP_S)
    pulsing = 1 + 0.04 * np.sin(2 * np.pi * 38.0 * t + rng.uniform(0, 6))
    share = 0.1 + 0.8 * pressure * np.where(valve, pulsing, 1.0) / 690e3
    return Sprayer(
        plan,
        t,
        place,
        np.cumsum(out) * STEP_S,
        np.cumsum(np.where(valve, speed, 0.0)) * STEP_S,
        np.concatenate((valve[ahead:], np.zeros(ahead, dtype=np.bool_))),
        np.clip(np.rint(share * plan.full_scale + rng.normal(0, 0.7, len(t))), 0, plan.full_scale),
        _pulses(t, np.cumsum(rotor) * STEP_S, 6, plan.poles_uneven, rng),
        _pulses(t, np.cumsum(speed * slip) * STEP_S / plan.metres_per_pulse, 10, plan.magnets_uneven, rng),
        tuple(zip(t[_rises(valve)].tolist(), t[_rises(~valve)][-plan.passes :].tolist(), strict=True)),
    )


def _rises(on: npt.NDArray[np.bool_]) -> npt.NDArray[np.intp]:
    return np.flatnonzero(on[1:] & ~on[:-1]) + 1


def _pace(plan: Plan, rng: np.random.Generator) -> Floats:
    longest = plan.passes * (plan.pass_m / plan.pace_m_s * 1.6 + plan.turn_s) + 60
    return plan.pace_m_s * np.clip(1 + 0.04 * _wander(int(longest / STEP_S), 3.0, rng), 0.7, 1.4)


def _walk(plan: Plan, pace: Floats) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Speed and valve on the grid: each pass is walked a step before it is sprayed, or begun at rest, and on after."""
    speeds, valves = [np.zeros(round(_START_S / STEP_S))], [np.zeros(round(_START_S / STEP_S), dtype=np.bool_)]

    def add(speed: Floats, valve: bool) -> None:
        speeds.append(speed)
        valves.append(np.full(len(speed), valve))

    used = 0
    for number in range(1, plan.passes + 1):
        gone, stands = 0.0, [s for s in plan.stands if s[0] == number]
        add(np.zeros(160) if plan.from_rest else pace[used : used + 160], False)
        for _, after_m, for_s in [*stands, (number, plan.pass_m, 0.0)]:
            length = int(np.searchsorted(np.cumsum(pace[used:]) * STEP_S, after_m - gone))
            add(pace[used : used + length], True)
            used, gone = used + length, after_m
            add(np.zeros(round(for_s / STEP_S)), True)
        add(0.7 * pace[used : used + round(plan.turn_s / STEP_S)], False)
    add(np.zeros(round(4.0 / STEP_S)), False)
    speed = np.concatenate(speeds)
    return _lagged(speed, plan.slow_s, plan.slow_s) if plan.slow_s else speed, np.concatenate(valves)


def _wander(n: int, tau_s: float, rng: np.random.Generator) -> Floats:
    """A random walk pulled back to 0, standard deviation 1, on a grid of half seconds with straight lines between."""
    coarse = max(int(n * STEP_S / 0.5) + 2, 2)
    keep = np.exp(-0.5 / tau_s)
    values = [rng.normal()]
    for step in rng.normal(0, np.sqrt(1 - keep**2), coarse - 1).tolist():
        values.append(keep * values[-1] + step)
    return np.interp(np.arange(n) * STEP_S, np.arange(coarse) * 0.5, values)


def _hose(valve: npt.NDArray[np.bool_], supply: Floats, plan: Plan) -> Floats:
    """Pressure in the boom as a share of the usual one: it follows the supply, and runs out through the nozzles."""
    out, now, drain = np.empty(len(valve)), 0.0, plan.flow_m3_s * STEP_S / _HOSE_M3
    for index, (is_open, wanted) in enumerate(zip(valve.tolist(), supply.tolist(), strict=True)):
        now += (wanted - now) * STEP_S / plan.hose_up_s if is_open else -min(drain * now**0.5, now)
        out[index] = now
    return out


def _lagged(driven: Floats, up_s: float, down_s: float) -> Floats:
    out, now = np.empty(len(driven)), 0.0
    up, down = STEP_S / up_s, STEP_S / down_s
    for index, wanted in enumerate(driven.tolist()):
        now += (wanted - now) * (up if wanted > now else down)
        out[index] = now
    return out


def _pulses(t: Floats, turned: Floats, poles: int, uneven: float, rng: np.random.Generator) -> Floats:
    """When the poles pass: `turned` counts them if they were even."""
    offset = rng.uniform(-uneven, uneven, poles) + rng.uniform(0, 1)
    number = np.arange(int(turned[-1]) + 1)
    at = number + offset[number % poles]
    at = at[(at > 0) & (at <= turned[-1])]
    rising = np.concatenate(([True], np.diff(turned) > 0))
    return np.interp(at, turned[rising], t[rising])
