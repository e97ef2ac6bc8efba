"""What a season has seen, in one list: runs, tank balances, transducer readings and calibration cards, in their order.

The runs are read under the newest run's meter and transducer, so a card that was taken up moves nothing here; what a
card says of meter or transducer is an observation of its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

import numpy as np

from host.calibrate.uncertainty import pooled
from host.pipeline.columns import Floats
from host.review.card_marks import CardMark
from host.review.digest import Digest
from host.review.season.changes import (
    KNOB,
    LONE_BOOM,
    LONE_TANK,
    METER,
    NOZZLES,
    STRAINER,
    TANK,
    WHEEL,
    WRONG_CARD,
    ZERO,
)
from host.review.steady import Steady
from host.rig.model import DAY_TO_DAY

CAUSES = (NOZZLES, METER, ZERO, TANK, LONE_BOOM, LONE_TANK, WRONG_CARD)
BOOM, BALANCE, PUMP_OFF, TWO_PRESSURES, CATCH, METER_CARD, ZERO_CARD = range(7)
CARDS = (CATCH, METER_CARD, ZERO_CARD)

DAY_S = 86_400.0
# Standard, assumed where the season itself cannot show it (common practice for small meters and transducers, from
# memory): how a transducer's zero moves from day to day, kPa; how a meter's factor changes with the root of pressure.
ZERO_SCATTER = 1.0
_METER_BY_FLOW = 0.03
_PASSES_SCATTER = 0.01  # of the length of passes over the same ground, from run to run
_OFTEN = 6  # runs over an area: three on either side of what changed
_PAUSE = 10.0  # times the usual gap between runs
_WANDER_DAYS, _WAVES = 20.0, 12
# How far the level of a series may lie from what is expected: wide, so that it is the data's to say.
_LEVELS = {BOOM: 1.0, BALANCE: 0.1, PUMP_OFF: 20.0, TWO_PRESSURES: 40.0, CATCH: 0.1, METER_CARD: 0.1, ZERO_CARD: 20.0}
_BLOCK_OF = {"boom": CATCH, "meter": METER_CARD, "pressure": ZERO_CARD}
_RESPONSES = {
    BOOM: {NOZZLES, METER, LONE_BOOM},
    BALANCE: {METER, TANK, LONE_TANK},
    PUMP_OFF: {ZERO},
    TWO_PRESSURES: {ZERO},
    CATCH: {NOZZLES, WRONG_CARD},
    METER_CARD: {METER, WRONG_CARD},
    ZERO_CARD: {ZERO, WRONG_CARD},
}


@dataclass(frozen=True)
class Observations:
    """n observations of items (runs and cards in their order); transducer errors count in kPa.

    `response` (n, causes) is what one unit of each cause does to each; `nuisances` (n, p), of standard deviations
    `widths`, are what may be off all season without anything having happened. `u` are standard uncertainties.
    """

    times: Floats  # of the items, days, rising
    runs: tuple[int | None, ...]  # of the items: which run each is, None for a card
    causes: tuple[str, ...]
    block: np.ndarray[tuple[int], np.dtype[np.intp]]
    item: np.ndarray[tuple[int], np.dtype[np.intp]]
    y: Floats
    u: Floats
    response: Floats
    nuisances: Floats
    widths: Floats
    values: Floats  # as they are shown: in their own unit, the season's level in it
    values_u: Floats  # relative standard uncertainty of each by itself
    series: np.ndarray[tuple[int], np.dtype[np.intp]] | None = None  # whose neighbours compare; None: the blocks

    def count(self, block: int) -> int:
        """Observations in a block."""
        return int((self.block == block).sum())

    def counts(self, block: int) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
        """Observations in a block before each item, and last all of them, (items + 1,)."""
        return self._before[block]

    def on_both_sides(self, block: int, place: int) -> tuple[int, int]:
        """Observations in a block before an item, and from it on."""
        before = self._before[block]
        return int(before[place]), int(before[-1] - before[place])

    @cached_property
    def in_use(self) -> Floats:
        """The items' times less long pauses, which count as one usual gap: a sprayer in its shed wears nothing."""
        gaps = np.diff(self.times)
        if not (gaps > 0.0).any():
            return self.times
        usual = float(np.median(gaps[gaps > 0.0]))
        return np.concatenate([self.times[:1], self.times[0] + np.cumsum(np.where(gaps > _PAUSE * usual, usual, gaps))])

    @cached_property
    def reach(self) -> dict[str, float]:
        """How far from its middle a series goes in which a cause shows, of two the lesser; 0 for a transducer."""
        reach = {}
        for at, cause in enumerate(self.causes):
            shows = (self.response[:, at] != 0.0) & np.isin(self.block, (BOOM, BALANCE))
            far = [float(np.abs(self.y[shows & (self.block == one)]).max()) for one in np.unique(self.block[shows])]
            reach[cause] = 0.0 if cause == ZERO else min(far, default=0.0)
        return reach

    @cached_property
    def waves(self) -> tuple[Floats, Floats]:
        """Slow waves of flow at one pressure (n, k), as warmth may make them, and their deviations (k,) for one of 1.

        Together the first waves of an Ornstein-Uhlenbeck process, by its spectrum (Karhunen-Loève).
        """
        length = max(float(self.times[-1] - self.times[0]), 1.0)
        order = np.arange(1, _WAVES + 1)
        waves = np.cos(np.pi * order * (self.times[self.item][:, None] - self.times[0]) / length)
        waves = waves * (self.block == BOOM)[:, None]
        spectrum = 4.0 * _WANDER_DAYS / length / (1.0 + (np.pi * order * _WANDER_DAYS / length) ** 2)
        return waves, np.sqrt(spectrum)

    @cached_property
    def _before(self) -> dict[int, np.ndarray[tuple[int], np.dtype[np.intp]]]:
        counts = {}
        for block in range(ZERO_CARD + 1):
            here = np.bincount(self.item[self.block == block], minlength=len(self.times))
            counts[block] = np.concatenate(([0], np.cumsum(here)))
        return counts


@dataclass(frozen=True)
class _Seen:
    block: int
    item: int
    y: float
    u: float
    pressure_pa: float = math.nan
    own_u: float = math.nan  # where shown: relative, what all runs share left out


def time_of(started: str) -> float:
    """Days of an ISO 8601 time."""
    return datetime.fromisoformat(started).timestamp() / DAY_S


def under_newest(runs: Sequence[Digest]) -> list[Digest]:
    """The same runs, coefficient, pressure and balance read under the newest run's meter and transducer."""
    out = []
    for run in runs:
        newest = runs[-1]
        steady, balance = run.steady, run.meter_over_tank
        factor = run.meter_per_m3 / newest.meter_per_m3 if run.meter_per_m3 and newest.meter_per_m3 else 1.0
        balance = balance * factor if balance is not None else None
        if steady is not None:
            pressure = steady.pressure_pa
            if run.no_pressure and newest.no_pressure and run.no_pressure != newest.no_pressure:
                at_none, slope = newest.no_pressure
                pressure = slope * (pressure / run.no_pressure[1] + run.no_pressure[0] - at_none)
            root = math.sqrt(steady.pressure_pa / pressure) if pressure > 0 and steady.pressure_pa > 0 else 1.0
            coefficient = steady.coefficient * factor * root
            steady = replace(steady, coefficient=coefficient, pressure_pa=pressure if pressure > 0 else math.nan)
        out.append(replace(run, steady=steady, meter_over_tank=balance))
    return out


def observed(runs: Sequence[Digest], cards: Sequence[CardMark]) -> Observations:
    """What runs (in order, under one calibration) and cards (in order) show."""
    timeline: list[tuple[float, int, int]] = [(time_of(run.started), 1, at) for at, run in enumerate(runs)]
    timeline += [(time_of(card.made), 0, at) for at, card in enumerate(cards)]
    timeline.sort()
    seen: list[_Seen] = []
    for item, (_, is_run, at) in enumerate(timeline):
        seen += _of_run(item, runs[at]) if is_run else _of_card(item, cards[at], runs)
    times = np.array([time for time, _, _ in timeline])
    block = np.array([one.block for one in seen], dtype=np.intp)
    y = np.array([one.y for one in seen])
    shown = np.isin(block, (BOOM, BALANCE))
    values = np.exp(np.where(shown, y, math.nan))
    for which in set(block.tolist()):
        y[block == which] -= np.median(y[block == which])
    pressure = np.array([one.pressure_pa for one in seen])
    offset_u = runs[-1].pressure_u_pa / 1e3 if runs else 0.0
    nuisances, widths = _nuisances(block, pressure, offset_u)
    return Observations(
        times,
        tuple(at if is_run else None for _, is_run, at in timeline),
        CAUSES,
        block,
        np.array([one.item for one in seen], dtype=np.intp),
        y,
        np.array([one.u for one in seen]),
        _response(block, pressure),
        nuisances,
        widths,
        values,
        np.array([one.own_u for one in seen]),
    )


def pressures(runs: Sequence[Digest]) -> Observations:
    """The pressure of each run by itself, which strainer, pump and knob move."""
    known = [(at, run.steady) for at, run in enumerate(runs) if run.steady and run.steady.pressure_pa > 0]
    values = np.array([steady.pressure_pa for _, steady in known])
    one_series = np.zeros(len(known), dtype=np.intp)
    seen = _by_themselves(runs, [at for at, _ in known], (KNOB, STRAINER), np.log(values), 0.02, one_series)
    return replace(seen, values=values, values_u=np.array([_own_u(steady) for _, steady in known]))


def pass_lengths(runs: Sequence[Digest]) -> Observations:
    """How long passes are over areas that were sprayed again and again: the lawn stays, so the wheel is what moves.

    Of each run the median of its passes, in pulses of the wheel, so that a wheel measured anew moves nothing; against
    the other runs with the same name of the area, where there are enough of them.
    """
    sites: dict[str, list[int]] = {}
    for at, run in enumerate(runs):
        if run.site.strip() and run.pass_pulses:
            sites.setdefault(run.site.strip().casefold(), []).append(at)
    repeated = [places for places in sites.values() if len(places) >= _OFTEN]
    found = sorted((at, site) for site, places in enumerate(repeated) for at in places)
    y = np.array([math.log(runs[at].pass_pulses or math.nan) for at, _ in found])
    of_site = np.array([site for _, site in found], dtype=np.intp)
    seen = _by_themselves(runs, [at for at, _ in found], (WHEEL,), y, _PASSES_SCATTER, of_site)
    return replace(seen, values_u=with_scatter(seen, None, 0.0).u)


def _by_themselves(
    runs: Sequence[Digest],
    places: Sequence[int],
    causes: tuple[str, ...],
    y: Floats,
    scatter: float,
    series: np.ndarray[tuple[int], np.dtype[np.intp]],
) -> Observations:
    """Observations `y` of the runs at `places`, which these causes alone move; each of the `series` has its level."""
    n, levels = len(places), np.unique(series) if len(places) else np.zeros(1)
    own = (series[:, None] == levels).astype(np.float64)
    for level in range(len(levels) if n else 0):
        here = own[:, level] > 0.0
        y = np.where(here, y - np.median(y[here]), y)
    return Observations(
        np.array([time_of(runs[at].started) for at in places]),
        tuple(places),
        (*causes, LONE_BOOM),
        np.zeros(n, dtype=np.intp),
        np.arange(n),
        y,
        np.full(n, scatter),
        np.ones((n, len(causes) + 1)),
        own,
        np.ones(len(levels)),
        np.exp(y),
        np.full(n, scatter),
        series,
    )


def _of_run(item: int, run: Digest) -> list[_Seen]:
    seen = []
    steady = run.steady
    if steady is not None and steady.coefficient > 0 and steady.pressure_pa > 0:
        y, own_u = math.log(steady.coefficient), _own_u(steady)
        seen.append(_Seen(BOOM, item, y, DAY_TO_DAY, steady.pressure_pa, own_u))
        if run.two_pressures is not None:
            error, u = run.two_pressures
            seen.append(_Seen(TWO_PRESSURES, item, error / 1e3, math.hypot(u / 1e3, ZERO_SCATTER)))
    if run.meter_over_tank is not None and run.meter_over_tank > 0:
        u = math.hypot((run.meter_over_tank_u or 0.0) / run.meter_over_tank, DAY_TO_DAY)
        seen.append(_Seen(BALANCE, item, math.log(run.meter_over_tank), u, own_u=u))
    if run.pump_off_pa is not None:
        seen.append(_Seen(PUMP_OFF, item, run.pump_off_pa / 1e3, ZERO_SCATTER))
    return seen


def _own_u(steady: Steady) -> float:
    scatter = steady.scatter / math.sqrt(steady.passes) if steady.passes > 1 and math.isfinite(steady.scatter) else 0.0
    return math.hypot(scatter, DAY_TO_DAY)


def _of_card(item: int, card: CardMark, runs: Sequence[Digest]) -> list[_Seen]:
    block, y, u = _BLOCK_OF[card.kind], card.value, card.u
    if card.kind == "pressure":
        newest = runs[-1].no_pressure if runs else None
        if newest is None:
            return []
        y, u = (card.value - newest[0]) * newest[1] / 1e3, math.hypot(u / 1e3, 0.3)
    return [_Seen(block, item, y, u)]


def _response(block: np.ndarray[tuple[int], np.dtype[np.intp]], pressure_pa: Floats) -> Floats:
    rows = np.zeros((len(block), len(CAUSES)))
    for which, causes in _RESPONSES.items():
        rows[block == which] = [float(cause in causes) for cause in CAUSES]
    rows[block == ZERO_CARD, CAUSES.index(WRONG_CARD)] = 1e2  # kPa, where other cards are wrong by a factor of e
    # c = Q/√P: a transducer that reads 1 kPa too much makes it less by 1 kPa/2P.
    boom = block == BOOM
    rows[boom, CAUSES.index(ZERO)] = -0.5e3 / pressure_pa[boom]
    return rows


def _nuisances(
    block: np.ndarray[tuple[int], np.dtype[np.intp]], pressure_pa: Floats, offset_u: float
) -> tuple[Floats, Floats]:
    """A level for each series; what transducer and meter may be off by, which shows when the knob is turned."""
    present = sorted(set(block.tolist()))
    columns = [(block == which).astype(np.float64) for which in present]
    widths = [_LEVELS[which] for which in present]
    boom = block == BOOM
    if boom.any():
        root = np.zeros(len(block))
        root[boom] = 0.5 * np.log(pressure_pa[boom] / np.median(pressure_pa[boom]))
        inverse = np.zeros(len(block))
        inverse[boom] = -0.5e3 / pressure_pa[boom]
        inverse[boom] -= inverse[boom].mean()
        columns += [root, inverse]
        widths += [_METER_BY_FLOW, max(offset_u, 1e-3)]
    return np.stack(columns, axis=1) if columns else np.zeros((0, 0)), np.array(widths)


def with_scatter(seen: Observations, residuals: Floats | None, used: float) -> Observations:
    """The same with uncertainties as the series themselves show: from neighbours, or from what an explanation leaves.

    `used` is how many numbers that explanation took from the data.
    """
    u = seen.u.copy()
    for block in sorted(set(seen.block.tolist())):
        here = seen.block == block
        n = int(here.sum())
        if block in CARDS or n < 4:
            continue
        if residuals is None:
            series = seen.block if seen.series is None else seen.series
            each = (here & (series == one) for one in np.unique(series[here]))
            scaled = np.concatenate([np.diff(seen.y[of] / seen.u[of]) for of in each])
            # By their median (0.6745 of a normal deviation), blind to steps and to single runs.
            scatter, degrees = float(np.median(np.abs(scaled))) / 0.6745 / math.sqrt(2.0), n / 3.0
        else:
            scaled = residuals[here] / seen.u[here]
            degrees = max(n - used * n / len(seen.y), 2.0)
            scatter = math.sqrt(float((scaled**2).sum()) / degrees)
        u[here] *= pooled(scatter, degrees, 1.0)[0]
    return replace(seen, u=u)
