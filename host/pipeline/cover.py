"""Which share of each row was sprayed, and how far it went meanwhile."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from host.frames import together
from host.pipeline.columns import Bools, Floats
from host.pipeline.count_line import began_by_count, began_us, ended_by_count, ended_us, steady_period_us
from host.pipeline.rows import Rows

LEAD_US = 1_500_000  # without a switch, spraying began so long at most before it showed
COARSE_US = 260_000  # a row longer than this is divided where spraying begins or ends in it; clocks are off by 1 %
_SWITCH_OFF_US = 250_000  # a switch that is on for so much longer or shorter than the water flows is wrong
_AT_REST_US = 300_000  # without a pulse: the water has stopped
DRIBBLE_PULSES = 3  # fewer while the spray was off are the rotor running down
_SWITCH_EARLY_US = 50_000  # by how much the switch may have closed before the row in which it shows
# Standard, of an end that was read off the number of pulses alone: hose, valve and rotor move both ends of all passes
# alike by a tenth of a second or two.
_COUNTED_US = 100_000
# The water follows the switch by some hundredths of a second, which a valve takes; hose and rotor follow the water
# (common practice, and small turbine meters, from memory): by how much, and how well that is known (standard). It moves
# both ends of all passes alike, and makes those longer that begin from rest.
_VALVE_US, _VALVE_U_US = 30_000, 20_000
_ROTOR_US, _ROTOR_U_US = 80_000, 60_000
_SET_OFF_US = 300_000  # what a walker loses by setting off, of full pace
_ABOUT_US = 300_000  # to both sides of where spraying begins: how fast it goes there
_SHORT_US = 3_000_000  # of long rows: a line through them is too short to hold on to
_NEAR_US = 3_000_000  # of rows beside one, from which the pace in it is taken
WITHIN = 1 / math.sqrt(12)  # standard uncertainty of what lies anywhere within 1: GUM 4.3.7


@dataclass(frozen=True)
class Stretch:
    """Rows that are settled together: `begun` and `over` say whether its beginning and end were seen.

    `before` is the row before them, if there is one, and `period_us` the time between pulses of steady flow in the pass
    before; not a number where none has told it.
    """

    rows: Rows
    begun: bool
    over: bool
    before: Rows
    period_us: float = math.nan


@dataclass(frozen=True)
class Cover:
    """The share of each row in which it sprayed, shape (n,), and board times of the first and last spraying.

    An end of spraying in a row is known to ± `chance_us` (standard; another chance for each end), and to ± `doubt_us`
    that all ends may share; 0 in rows without one. `switch_short_s` is for how much longer the water flowed than the
    switch was on, where the pulses were believed; `period_us` as in Stretch, now of these rows.
    """

    share: Floats
    chance_us: Floats
    doubt_us: Floats
    began_us: float
    ended_us: float
    period_us: float
    switch_short_s: float = 0.0


@dataclass(frozen=True)
class _End:
    us: float
    chance_us: float = 0.0
    doubt_us: float = 0.0
    lag_u_us: float = 0.0  # of how late it shows


def cover_of(stretch: Stretch) -> Cover:
    """What of the rows was sprayed."""
    rows = together((stretch.before, stretch.rows))
    rows["spraying"][: len(stretch.before)] = False
    bounds = np.flatnonzero(np.diff(np.concatenate(([0], rows["spraying"].astype(np.int8), [0]))))
    firsts, lasts = bounds[::2].tolist(), (bounds[1::2] - 1).tolist()
    ends_us = rows["us"].astype(np.float64)
    begins_us = ends_us - rows["step_us"]
    cover, began, ended = np.zeros(len(rows)), math.inf, -math.inf
    chance, doubt = np.zeros(len(rows)), np.zeros(len(rows))
    doubted_us, steady_us = 0.0, stretch.period_us
    for index, (first, last) in enumerate(zip(firsts, lasts, strict=True)):
        start = first > 0 and (stretch.begun or index > 0)  # the first report of all may come when it has long begun
        end = stretch.over or index < len(lasts) - 1
        rest = firsts[index + 1] - 1 if index < len(firsts) - 1 else len(rows) - 1
        if start and end and _dribbles(rows, first, rest):
            continue
        short_us = _switch_short_us(rows, first, last, rest) if start and end else 0.0
        found_us = steady_period_us(rows, first, last)
        steady_us = found_us if math.isfinite(found_us) else steady_us
        period_us = steady_us if math.isfinite(steady_us) else steady_period_us(rows, first, last, after_us=0)
        counted_us = _COUNTED_US if math.isfinite(steady_us) else 2 * _COUNTED_US
        part = _Part(rows, first, last, rest, period_us, counted_us, doubted=short_us != 0.0)
        on = _on(part) if start else _End(float(begins_us[first]))
        off = _off(part) if end else _End(float(ends_us[last]))
        shared = np.minimum(ends_us, off.us) - np.maximum(begins_us, on.us)
        cover += np.clip(shared / np.maximum(rows["step_us"], 1), 0.0, 1.0)
        ends = min(int(np.searchsorted(ends_us, off.us)), last + 1, len(rows) - 1)
        for found, place in ((on, first), (off, ends)):
            chance[place] = math.hypot(chance[place], found.chance_us)
            doubt[place] += found.doubt_us
        doubt[ends] += _shifted_us(part, on, off)
        began, ended = min(began, on.us), max(ended, off.us)
        doubted_us += short_us
    known = slice(len(stretch.before), None)
    share = np.minimum(cover, 1.0)[known]
    return Cover(share, chance[known], doubt[known], began, ended, steady_us, doubted_us * 1e-6)


def _dribbles(rows: Rows, first: int, rest: int) -> bool:
    """Whether so little came, and no switch speaks for it, that the rotor only crept over a pole."""
    return not rows["by_switch"][first] and int(rows["pulses"][rest] - rows["pulses"][first - 1]) <= DRIBBLE_PULSES


@dataclass(frozen=True)
class _Part:
    """Rows `first` to `last` that sprayed, the meter standing again by row `rest`."""

    rows: Rows
    first: int
    last: int
    rest: int
    period_us: float
    counted_us: float  # standard uncertainty of an end that is read off a number of pulses at that period
    doubted: bool  # whether the flow contradicts the switch

    @property
    def on_us(self) -> int:
        """How long the row is in which spraying began."""
        return int(self.rows["step_us"][self.first])

    @property
    def off_us(self) -> int:
        """How long the row is in which it ended."""
        return int(self.rows["us"][min(self.last + 1, len(self.rows) - 1)] - self.rows["us"][self.last])

    @property
    def doubt_us(self) -> float:
        """Of an end read off the pulses of steady flow: none where the other end is, too, for both then lag alike.

        A few long rows are too short a line to hold on to.
        """
        coarse = [long > COARSE_US for long in (self.on_us, self.off_us)]
        mixed = self.by_switch and coarse[0] != coarse[1]
        short = any(coarse) and int(self.rows["us"][self.last] - self.rows["us"][self.first]) < _SHORT_US
        return _COUNTED_US if mixed or short else 0.0

    @property
    def by_switch(self) -> bool:
        return bool(self.rows["by_switch"][self.first]) and not self.doubted

    @property
    def off_by_switch(self) -> bool:
        """Whether the switch ended it, and not water that stopped while it was still on."""
        return self.by_switch and not self.rows["dry"][min(self.last + 1, len(self.rows) - 1)]


def _on(part: _Part) -> _End:
    rows, first, last = part.rows, part.first, part.last
    begin, end = float(rows["us"][first]) - part.on_us, float(rows["us"][first])
    chance, coarse = part.on_us * WITHIN, part.on_us > COARSE_US
    if part.by_switch and not coarse:
        return _End((begin + end) / 2 + _VALVE_US, chance, 0.0, _VALVE_U_US)
    found, doubt = began_us(rows, first, last), part.doubt_us
    if found is None and coarse:
        found, doubt = began_by_count(rows, first, last, part.period_us), part.counted_us
    if found is None:
        at = (begin + end) / 2 if coarse else begin
        return _End(at, chance, 0.0 if part.by_switch else _COUNTED_US)
    low, high = begin - LEAD_US, _first_edge(rows, first, last)
    if part.by_switch:
        low, high = begin - _SWITCH_EARLY_US, end
    return _End(min(max(found - _ROTOR_US, low), high), _chance_us(part), doubt, _ROTOR_U_US)


def _off(part: _Part) -> _End:
    rows, first, last = part.rows, part.first, part.last
    end, beyond = float(rows["us"][last]), float(rows["us"][last]) + part.off_us
    chance, coarse = part.off_us * WITHIN, part.off_us > COARSE_US
    if part.off_by_switch and not coarse:
        return _End((end + beyond) / 2 + _VALVE_US, chance, 0.0, _VALVE_U_US)
    found, doubt = ended_us(rows, first, part.rest), part.doubt_us
    if found is None and coarse:
        found, doubt = ended_by_count(rows, first, part.rest, part.period_us), part.counted_us
    if found is None:
        if part.off_by_switch:
            return _End((end + beyond) / 2, chance)
        timed = np.flatnonzero(rows["timed"][first : last + 1])
        newest = float(rows["edge_us"][first + int(timed[-1])]) if len(timed) else end
        return _End(min(end, newest), _chance_us(part), _COUNTED_US)
    low, high = float(rows["us"][first] - rows["step_us"][first]), math.inf
    if part.off_by_switch:
        low, high = end - _SWITCH_EARLY_US, beyond
    return _End(min(max(found - _ROTOR_US, low), high), _chance_us(part), doubt, _ROTOR_U_US)


def _shifted_us(part: _Part, on: _End, off: _End) -> float:
    """How much longer or shorter, at the pace of the pass, its way may be for what is alike in all passes (standard).

    Both ends may lie later than read: what the end gains, the beginning loses, if it goes as fast there. In a long row
    nobody sees whether it does, nor whether it set off with the spray.
    """
    rows, first = part.rows, part.first
    sprayed = rows[first : part.last + 1]
    pace = _pace_of(sprayed)
    if not pace > 0:
        return 0.0
    if part.on_us > COARSE_US:
        lacks_us = part.on_us - float(rows["step_m"][first]) / pace
        set_off_us = min(max(lacks_us, 0.0), _SET_OFF_US) * WITHIN
        return math.hypot(max(on.lag_u_us, off.lag_u_us), set_off_us)
    if on.lag_u_us != off.lag_u_us:
        return math.hypot(on.lag_u_us, off.lag_u_us)
    there = _pace_of(rows[np.abs(rows["us"] - on.us) < _ABOUT_US]) / pace
    return off.lag_u_us * max(1.0 - there, 0.0)


def _pace_of(rows: Rows) -> float:
    """Way over time (m/µs), 0 for no rows."""
    return float(np.sum(rows["step_m"])) / max(int(np.sum(rows["step_us"])), 1)


def _chance_us(part: _Part) -> float:
    """Standard uncertainty of an end that is read to a whole pulse."""
    return part.period_us * WITHIN if math.isfinite(part.period_us) else 0.0


def _switch_short_us(rows: Rows, first: int, last: int, rest: int) -> float:
    """How much longer (µs) the water flowed than the switch was on, where both cannot be right; 0 where they may.

    What valve, hose and rotor lag shifts both ends of the flow alike, so that its length is known to a few hundredths
    of a second. Pulses that do not stop with the water are noise, and say nothing.
    """
    if not rows["by_switch"][first] or rows["step_us"][first : last + 1].max() > COARSE_US:
        return 0.0
    began, ended = began_us(rows, first, last), ended_us(rows, first, rest)
    if began is None or ended is None or rows["us"][rest] - rows["edge_us"][rest] < _AT_REST_US:
        return 0.0
    on_us = float(rows["us"][last]) - float(rows["us"][first] - rows["step_us"][first])
    short = ended - began - on_us
    return short if abs(short) > _SWITCH_OFF_US else 0.0


def _first_edge(rows: Rows, first: int, last: int) -> float:
    timed = np.flatnonzero(rows["timed"][first : last + 1])
    return float(rows["edge_us"][first + int(timed[0])]) if len(timed) else math.inf


def way_sprayed(rows: Rows, cover: Floats) -> Floats:
    """Way sprayed in each row, of which the share `cover` was sprayed.

    A long row that is sprayed in part is walked at the pace of the pass while it is, and not at that of the turn.
    """
    way: Floats = rows["step_m"] * cover
    whole = cover >= 1.0
    for place in np.flatnonzero((cover > 0.0) & ~whole & (rows["step_us"] > COARSE_US)).tolist():
        sides = (range(place + 1, len(rows)), range(place - 1, -1, -1))
        inside = next((side for side in sides if len(side) and whole[side[0]]), None)
        if inside:
            pace = _pace(rows, whole, inside)
            way[place] = min(rows["step_m"][place], pace * cover[place] * rows["step_us"][place])
    return way


def _pace(rows: Rows, whole: Bools, side: range) -> float:
    """Way over time (m/µs) of the wholly sprayed rows to one side, the nearest three seconds of them."""
    way_m, time_us = 0.0, 0
    for place in side:
        if not whole[place] or time_us >= _NEAR_US:
            break
        way_m, time_us = way_m + float(rows["step_m"][place]), time_us + int(rows["step_us"][place])
    return way_m / max(time_us, 1)
