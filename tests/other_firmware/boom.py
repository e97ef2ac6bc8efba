"""A walk-behind boom of its own kind and a walk with it: truth, and what its sensors would show.

Everything is worked out once for a whole walk on a grid of milliseconds, so that a board can be played through it as
fast as Python goes. Figures are invented; the laws are those of the trade (common practice): flow of a nozzle goes with
the root of the pressure, a rotor follows the flow with a lag and runs on after it, magnets sit unevenly.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

STEP_S = 0.001
RAMP_S = 0.08  # the valve's way from shut to open and back; half of it is taken as the border of sprayed ground

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Boom:
    """What the sprayer is: five nozzles, a fine rotor, a wheel with six magnets, a transducer to 16 bar."""

    nozzles: int = 5
    spacing_m: float = 0.40
    nozzle_l_min: float = 0.52
    at_bar: float = 2.0
    pulses_per_l: float = 1180.0
    rotor_poles: int = 6
    rotor_uneven: float = 0.10
    lag_s: float = 0.05
    run_down_s: float = 0.07
    circumference_m: float = 1.57
    magnets: int = 6
    magnets_uneven: float = 0.12
    reed: bool = False
    span_bar: float = 16.0
    zero_error_bar: float = 0.05
    sag: float = 0.04
    switch_lead_s: float = 0.0
    switch_release_s: float = 0.0

    @property
    def swath_m(self) -> float:
        return self.nozzles * self.spacing_m


@dataclass(frozen=True)
class Walk:
    """How it is walked: so many passes of a length, with a speed that wanders, and turns between them.

    `stand` = (pass, metres into it, seconds): the walker stops there with the spray on.
    """

    passes: int = 4
    length_m: float = 30.0
    speed_m_s: float = 1.1
    wander: float = 0.05
    turn_s: float = 6.0
    rest_s: float = 3.0
    stand: tuple[int, float, float] | None = None


@dataclass(frozen=True)
class Pass:
    """The truth of one pass: world seconds, metres and litres."""

    begins: float
    ends: float
    ground_m: float
    litres: float


@dataclass(frozen=True)
class Edges:
    """Active edges of one input: world seconds, and how long the input was inactive before each."""

    time: Floats
    rest: Floats


@dataclass(frozen=True)
class World:
    """One walk: the truth, and what a board's inputs see of it."""

    boom: Boom
    passes: list[Pass]
    lasts: float
    flow: Edges
    wheel: Edges
    switch: list[tuple[float, float]]
    _litres: Floats = field(repr=False)
    _sprayed_m: Floats = field(repr=False)
    _pressure_bar: Floats = field(repr=False)
    _battery: Floats = field(repr=False)
    _seed: int = 0

    @property
    def litres(self) -> float:
        return float(self._litres[-1])

    @property
    def ground_m2(self) -> float:
        return float(self._sprayed_m[-1]) * self.boom.swath_m

    def between(self, begins: float, ends: float) -> tuple[float, float]:
        """Litres out of the nozzles and square metres walked with the spray on, between two moments."""
        grid = np.arange(len(self._litres)) * STEP_S
        litres = np.diff(np.interp([begins, ends], grid, self._litres))[0]
        return float(litres), float(np.diff(np.interp([begins, ends], grid, self._sprayed_m))[0]) * self.boom.swath_m

    def switch_closed(self, time: float) -> bool:
        return any(begins <= time < ends for begins, ends in self.switch)

    def supply_mv(self, time: float) -> int:
        """The board's 5 V: the regulator drops out as the battery sags under the pump."""
        return int(min(5000.0, 1000.0 * (self._battery[self._index(time)] - 6.6)))

    def readings(self, times: Floats, full_scale: int) -> npt.NDArray[np.int64]:
        """Converter readings: ratiometric, 10 to 90 % of the supply, with a zero error, noise and the pump's beat."""
        index = np.clip((times / STEP_S).astype(int), 0, len(self._pressure_bar) - 1)
        bar = self._pressure_bar[index]
        beat = 1 + 0.03 * np.sin(2 * np.pi * 23.0 * times)
        noise = np.sin(times * 9176.0 + self._seed) * 1.2
        share = 0.1 + 0.8 * (bar * beat + self.boom.zero_error_bar) / self.boom.span_bar
        return np.clip(np.round(share * full_scale + noise), 0, full_scale).astype(np.int64)

    def _index(self, time: float) -> int:
        return min(len(self._battery) - 1, max(0, int(time / STEP_S)))


def walked(boom: Boom, walk: Walk, seed: int) -> World:
    """The whole of one walk. The same arguments give the same world."""
    random = np.random.default_rng(seed)
    speed, lever = _speeds(walk, random)
    time = np.arange(len(speed)) * STEP_S
    way = np.concatenate([[0.0], np.cumsum(speed[:-1] * STEP_S)])
    valve = np.zeros(len(speed))
    for opened, closed in lever:
        valve += np.clip((time - opened) / RAMP_S, 0, 1) - np.clip((time - closed) / RAMP_S, 0, 1)
    spraying = np.cumsum(valve) / max(1.0, valve.sum())
    pump = np.clip((time - walk.rest_s / 2) / 0.5, 0, 1)  # switched on half way through the rest
    battery = 12.6 - 0.5 * pump - 0.4 * (valve > 0) - 0.3 * spraying
    pressure = boom.at_bar * pump * (1 + 0.25 * (1 - valve)) * (1 - boom.sag * spraying)
    litres_s = boom.nozzles * boom.nozzle_l_min / 60.0 * np.sqrt(pressure / boom.at_bar) * valve
    litres = np.concatenate([[0.0], np.cumsum(litres_s[:-1] * STEP_S)])
    sprayed = np.concatenate([[0.0], np.cumsum(speed[:-1] * STEP_S * (valve[:-1] >= 0.5))])
    passes = []
    for opened, closed in lever:
        begins, ends = opened + RAMP_S / 2, closed + RAMP_S / 2
        there = np.interp([begins, ends], time, way)
        poured = np.interp([opened, closed + RAMP_S], time, litres)
        passes.append(Pass(begins, ends, float(there[1] - there[0]), float(poured[1] - poured[0])))
    return World(
        boom=boom,
        passes=passes,
        lasts=float(time[-1]),
        flow=_rotor_edges(boom, time, litres_s, random),
        wheel=_wheel_edges(boom, time, way, random),
        switch=[(opened - boom.switch_lead_s, closed + boom.switch_release_s) for opened, closed in lever],
        _litres=litres,
        _sprayed_m=sprayed,
        _pressure_bar=pressure,
        _battery=battery,
        _seed=seed,
    )


def _speeds(walk: Walk, random: np.random.Generator) -> tuple[Floats, list[tuple[float, float]]]:
    """Speed on the grid, and when the lever opens and closes the valve."""
    parts = [np.zeros(round(walk.rest_s / STEP_S))]
    lever = []
    turn_speed = 0.4 * walk.speed_m_s
    slow = 0.0
    for number in range(walk.passes):
        run_up = np.linspace(slow, walk.speed_m_s, round((1.0 + random.uniform(0, 0.7)) / STEP_S))
        parts.append(run_up)
        parts.append(_pass_speed(walk, number, random))
        opened = sum(map(len, parts[:-1])) * STEP_S
        lever.append((opened, opened + len(parts[-1]) * STEP_S))
        slow = turn_speed if number < walk.passes - 1 else 0.0
        parts.append(np.linspace(parts[-1][-1], slow, round((0.8 + random.uniform(0, 0.8)) / STEP_S)))
        parts.append(np.full(round(walk.turn_s * random.uniform(0.8, 1.2) / STEP_S), slow))
    parts.append(np.zeros(round(walk.rest_s / STEP_S)))
    return np.concatenate(parts), lever


def _pass_speed(walk: Walk, number: int, random: np.random.Generator) -> Floats:
    """Speed while the spray is on, until the pass is walked."""
    steps = int(1.5 * walk.length_m / walk.speed_m_s / STEP_S)
    seconds = np.arange(steps) * STEP_S
    sway = sum(np.sin(2 * np.pi * (seconds / period + random.uniform())) for period in (3.7, 8.9))
    speed = walk.speed_m_s * (1 + walk.wander * (random.uniform(-1, 1) + 0.5 * np.asarray(sway)))
    if walk.stand is not None and walk.stand[0] == number:
        _, metres, pause = walk.stand
        at = int(np.searchsorted(np.cumsum(speed) * STEP_S, metres))
        speed = np.concatenate([speed[:at], np.zeros(round(pause / STEP_S)), speed[at:]])
    return speed[: int(np.searchsorted(np.cumsum(speed) * STEP_S, walk.length_m))]


def _uneven(number: int, by: float, random: np.random.Generator) -> Floats:
    """Places of so many marks in one turn, each off its even place by up to `by` of a step."""
    return (np.arange(number) + random.uniform(-by, by, number)) / number


def _crossings(turns: Floats, time: Floats, places: Floats) -> Floats:
    """When a shaft that has made `turns` (never backwards) passes each of its marks."""
    whole = np.arange(np.floor(turns[0]) - 1, np.ceil(turns[-1]) + 1)
    marks = np.sort((whole[:, None] + places[None, :]).ravel())
    marks = marks[(marks > turns[0]) & (marks <= turns[-1])]
    after = np.searchsorted(turns, marks, side="left")
    before = after - 1
    share = (marks - turns[before]) / (turns[after] - turns[before])
    return np.asarray(time[before] + share * (time[after] - time[before]))


def _rotor_edges(boom: Boom, time: Floats, litres_s: Floats, random: np.random.Generator) -> Edges:
    """Edges of the flow meter: the rotor gathers speed late, runs on, and friction stops it below 2 Hz."""
    wanted = (litres_s * boom.pulses_per_l).tolist()
    up, down = STEP_S / boom.lag_s, STEP_S / boom.run_down_s
    pace, paces = 0.0, []
    for want in wanted:
        pace += (want - pace) * (up if want > pace else down)
        if want <= 0.0 and pace < 2.0:
            pace = 0.0
        paces.append(pace)
    turns = random.uniform(0, 1) + np.cumsum(paces) * STEP_S / boom.rotor_poles
    edges = _crossings(turns, time, _uneven(boom.rotor_poles, boom.rotor_uneven, random))
    return Edges(edges, 0.5 * np.diff(edges, prepend=-1.0))


def _wheel_edges(boom: Boom, time: Floats, way: Floats, random: np.random.Generator) -> Edges:
    """Edges of the wheel; a reed closes for a fifth of the step and bounces for up to 2 ms at both ends."""
    turns = random.uniform(0, 1) + way / boom.circumference_m
    places = _uneven(boom.magnets, boom.magnets_uneven, random)
    edges = _crossings(turns, time, places)
    if not boom.reed:
        return Edges(edges, 0.5 * np.diff(edges, prepend=-1.0))
    opens = _crossings(turns, time, places + 0.2 / boom.magnets)
    times, rests = [], []
    opened = -1.0
    for edge in edges.tolist():
        times.append(edge)
        rests.append(edge - opened)
        later = opens[opens > edge]
        opened = float(later[0]) if len(later) else float("inf")
        for begin in (edge, opened):
            for gap in np.cumsum(random.uniform(0.0003, 0.0009, random.integers(0, 3))).tolist():
                if begin + gap < time[-1]:
                    times.append(begin + gap)
                    rests.append(0.0002)
                    opened = max(opened, begin + gap + 0.0001) if begin == opened else opened
    order = np.argsort(times)
    return Edges(np.asarray(times)[order], np.asarray(rests)[order])
