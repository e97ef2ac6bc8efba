"""What each frame put on the ground, said once and for all: passes, and what cannot be assigned to any ground.

Live speaks early, frame by frame. This stage waits until a stretch of spraying is over (two seconds without any, or a
silence in which anything may have happened) and then settles its rows together: where spraying began and ended, what of
the volume lies on known ground, what was sprayed on the spot, and what is not assigned. The same computation over the
rows that are not settled yet gives what is shown meanwhile.
"""

from __future__ import annotations

import math

import numpy as np

from host.frames import together
from host.pipeline.apart import Apart
from host.pipeline.carry import RunningSum
from host.pipeline.certainty import RUN_ON_S, RateCertainty
from host.pipeline.columns import Ints
from host.pipeline.cover import DRIBBLE_PULSES, LEAD_US, Cover, Stretch, cover_of, way_sprayed
from host.pipeline.dry_spell import DrySpell, dry_for_long, waits
from host.pipeline.on_ground import (
    SUMMED,
    Pass,
    Settled,
    Unassigned,
    ends_u_m,
    idle_settled,
    settled_rows,
    stops_u_m3,
    without_ground,
)
from host.pipeline.rows import ROW, Rows, Why, without_water
from host.pipeline.setting_off import set_off
from host.pipeline.sides import with_sides
from host.pipeline.silence import went_on
from host.pipeline.standing import poured_standing, stood_spraying
from host.pipeline.still import doubted, silent_at_end, since_turned, sprayed_silent
from host.rig import Rig

SHORTEST_M = 2.0  # less is a dribble or a nudge, not a pass
_WAITS_US = 60_000_000  # at most, for what wheel or meter do after a stretch at whose end they were silent
LONGEST_GAP_US = 2_000_000  # an interruption of spraying shorter than this does not end the pass
_SILENT_S = 2.5  # the board is silent: PROTOCOL.md section 8
# In a turn the next pass is to come; who stands, or has long shut, is done.
_SILENT_TURNING_S, _TURN_US = 10.0, 30_000_000


class Settler:
    """Rows in, settled rows and passes out."""

    def __init__(self, rig: Rig, certainty: RateCertainty) -> None:
        self._swath_m, self._target, self._certainty = rig.swath_m, rig.target, certainty
        self._pulse_m = rig.wheel.metres_per_pulse if rig.wheel else 0.0
        self.passes: list[Pass] = []
        self._apart, self._dry = Apart(), DrySpell()
        self._idle: list[Rows] = []
        self._open: list[Rows] = []  # empty while nothing is sprayed
        self._since: list[Rows] = []  # rows after those, while it does not show yet what their end was
        self._begun = self._seen_off = True  # whether the spray was seen to be off before it came on
        self._sprayed_us = 0
        self._way = RunningSum()
        self._last = np.zeros(0, dtype=ROW)  # the newest row
        self._before = np.zeros(0, dtype=ROW)  # the last of those that are settled
        self._period_us = math.nan  # from pulse to pulse in the last pass that told it
        self._sums = {name: RunningSum() for name in SUMMED}
        self._fresh: list[Settled] = []  # not taken yet; the first `_added` of them are in the sums
        self._added = 0
        self._so_far: tuple[list[Settled], Pass | None] | None = None

    @property
    def unassigned(self) -> list[Unassigned]:
        """What does not belong to known ground, in order of time."""
        return self._apart.found

    def push(self, rows: Rows) -> Ints:
        """Continue with `rows`; the passes begun so far, as far as that shows yet."""
        number = np.zeros(len(rows), dtype=np.int64)
        place, self._so_far = 0, None
        for gap in [*np.flatnonzero(rows["step_us"] > LONGEST_GAP_US).tolist(), len(rows)]:
            self._ordinary(rows[place:gap], number[place:gap])
            if gap < len(rows):
                self._silence(rows[gap : gap + 1])
                number[gap] = self._count()
            place = gap + 1
        return number

    def finish(self, end_s: float = math.nan) -> None:
        """Settle what is left: the run is over, at `end_s` of the host's clock where it is known."""
        self._wait_no_more()
        spraying = bool(self._open)
        self._close(over=False)
        self._let_go(None)
        self._so_far = None
        if not len(self._last):
            return
        last_s = float(self._last["host_s"][0])
        turning = bool(self._last["moving"][0]) and self._last["us"][0] - self._sprayed_us < _TURN_US
        if end_s - last_s > (_SILENT_S if spraying else _SILENT_TURNING_S) and (spraying or turning):
            self._apart.unheard(last_s, end_s)

    def take(self) -> Settled:
        """The rows settled since the last call."""
        self._add_up()
        fresh, self._fresh, self._added = settled_rows(self._fresh), [], 0
        return fresh

    def sums(self) -> dict[str, float]:
        """Sums of the columns of Settled over the whole run, what is not settled yet included as it stands."""
        self._add_up()
        sums = {name: float(total.last) for name, total in self._sums.items()}
        for settled in self._pending()[0]:
            sums = {name: sums[name] + here for name, here in _sums_of(settled).items()}
        return sums

    def _add_up(self) -> None:
        """Add what has been settled since to the sums: one row after the other, however they are cut up."""
        if self._added == len(self._fresh):
            return
        new = settled_rows(self._fresh[self._added :])
        for name, total in self._sums.items():
            total(getattr(new, name))
        self._fresh[self._added :] = [new]
        self._added = len(self._fresh)

    def current(self) -> Pass | None:
        """The pass under way as far as it has come, if it is long enough to count."""
        return self._pending()[1]

    def _pending(self) -> tuple[list[Settled], Pass | None]:
        """What is not settled yet as it stands, and the pass under way; worked out once for each piece of rows."""
        if self._so_far is None:
            found, under_way = [], None
            if self._open:
                self._open = [together(self._open)]
                settled, under_way = self._settle(self._stretch(self._open[0], over=bool(self._since)))[:2]
                found.append(settled)
            for idle in (self._since, self._idle):
                if idle:
                    idle[:] = [together(idle)]
                    found.append(idle_settled(idle[0]))
            self._so_far = found, under_way
        return self._so_far

    def _count(self) -> int:
        return len(self.passes) + (bool(self._open) and float(self._way.last) >= SHORTEST_M)

    def _ordinary(self, rows: Rows, number: Ints) -> None:
        """Rows with no silence between them; `number` is filled in."""
        place, us, sprays = 0, rows["us"].copy(), np.flatnonzero(rows["spraying"])
        begins = us - rows["step_us"]
        # A row that sprays at its end is taken to have sprayed since the report before.
        breaks = np.flatnonzero(begins[sprays[1:]] - us[sprays[:-1]] >= LONGEST_GAP_US) + 1
        if len(rows):
            self._last = rows[-1:]
        while place < len(rows):
            if self._since:
                place += self._wait(rows[place:], number[place:])
                continue
            ahead = int(np.searchsorted(sprays, place))
            if not self._open:
                first = int(sprays[ahead]) if ahead < len(sprays) else len(rows)
                self._idle.append(rows[place:first])
                number[place:first] = len(self.passes)
                self._seen_off |= first > place
                ended_us = begins[first] if first < len(rows) else us[-1]
                self._let_go(int(ended_us) - LEAD_US)
                if first < len(rows):
                    self._open, self._idle = [*self._idle, rows[first:first]], []
                    self._begun, self._seen_off = self._seen_off, True
                    self._sprayed_us, self._way = int(us[first]), RunningSum()
                place = first
                continue
            if ahead < len(sprays) and begins[sprays[ahead]] - self._sprayed_us < LONGEST_GAP_US:
                ahead = ([*breaks[np.searchsorted(breaks, ahead, side="right") :][:1].tolist(), len(sprays)])[0]
                self._sprayed_us = int(us[sprays[ahead - 1]])
            # A row that has begun by then may still hold pulses of the rotor's run-down.
            end = place + int(np.searchsorted(begins[place:], self._sprayed_us + LONGEST_GAP_US))
            if ahead < len(sprays):
                end = min(end, int(np.searchsorted(us, us[sprays[ahead]])))
            here = rows[place:end]
            self._open.append(here)
            way = self._way(np.where(here["spraying"] & here["moving"] & (here["why"] == 0), here["step_m"], 0.0))
            number[place:end] = len(self.passes) + (way >= SHORTEST_M)
            place = end
            if place < len(rows):
                self._open = [together(self._open)]
                if silent_at_end(self._open[0]):
                    self._since = [rows[place:place]]
                else:
                    self._close(over=True)

    def _wait(self, rows: Rows, number: Ints) -> int:
        """Put rows by until the end of the last stretch shows; how many are done. While it is open, its wheel was
        silent: it turns (it stood) or is silent again (it did not). Else no water came: it comes, or does not for long.
        """
        began_us = next(part["us"][0] for part in (*self._since, rows) if len(part))
        failed = rows["doubted"] | rows["dry_neither"] if self._open else dry_for_long(rows)
        works = rows["turned"] if self._open else rows["timed"]
        shows = np.flatnonzero(works | failed | (rows["us"] - began_us >= _WAITS_US))
        end = int(shows[0]) if len(shows) else len(rows)
        self._since.append(rows[:end])
        number[:end] = self._count()
        if len(shows):
            self._go_on(failed=bool(failed[end]))
        return end

    def _wait_no_more(self) -> None:
        while self._since:  # the rows since may end in a stretch that waits as well
            self._go_on(failed=False)

    def _go_on(self, *, failed: bool) -> None:
        """Settle what waited, its wheel or meter having failed or not, and take up the rows since."""
        since, self._since = together(self._since), []
        if self._open:
            self._wheel_known(since, failed=failed)
        elif failed:
            for rows in (*self._idle, since):
                rows["dry_long"] |= waits(rows)
            self._dry.begins(together((*self._idle, since)))
        last = self._last
        self._ordinary(since, np.zeros(len(since), dtype=np.int64))
        self._last = last

    def _wheel_known(self, since: Rows, *, failed: bool) -> None:
        """Settle the open stretch, at whose end the wheel stood or had failed."""
        if failed:
            self._open = [together(self._open)]
            self._open[0]["doubted"][-1] = sprayed_silent(self._open[0])
        self._close(over=True)
        if failed:
            for rows in map(since_turned, (*self._idle, since)):
                rows["dry_neither"] = waits(rows)

    def _silence(self, row: Rows) -> None:
        """A row so long that a turn may lie in it."""
        before = bool(len(self._last) and self._last["spraying"][0])
        after, counted = bool(row["spraying"][0]), 0
        self._wait_no_more()
        if len(self._last):
            counted = int(row["pulses"][0] - self._last["pulses"][0])
        self._last = row
        if self._open and before and after and row["why"][0] == Why.ASSIGNED and went_on(together(self._open), row):
            self._open.append(row)
            self._sprayed_us = int(row["us"][0])
            self._way(row["step_m"])
            return
        self._close(over=not before)
        self._let_go(None)
        self._seen_off = not after
        if before or after or counted > DRIBBLE_PULSES:
            row = row.copy()
            row["why"] = row["why"] if row["why"][0] else Why.SILENCE
        self._keep(without_ground(row) if row["why"][0] else idle_settled(row), row)

    def _close(self, *, over: bool) -> None:
        if not self._open:
            return
        stretch = self._stretch(together(self._open), over=over)
        settled, one, self._period_us = self._settle(stretch)
        self._open = []
        if one is not None:
            self.passes.append(one)
            self._dry.after(one.pressure_pa)
        rows = stretch.rows
        dry = np.flatnonzero(rows["dry"])
        if over and len(dry) and not any(getattr(settled, name)[dry[-1] :].any() for name in SUMMED):
            # What is behind its last water may be the beginning of a dry spell.
            used = np.flatnonzero(np.any([getattr(settled, name) != 0 for name in SUMMED], axis=0))
            end = int(used[-1]) + 1 if len(used) else 0
            settled, rows, self._idle = settled[:end], rows[:end], [rows[end:].copy()]
            self._since = [] if dry_for_long(self._idle[0]).any() else [rows[:0]]
        self._keep(settled, rows)

    def _stretch(self, rows: Rows, *, over: bool) -> Stretch:
        rows = set_off(self._dry.in_stretch(doubted(rows)), self._pulse_m)
        return Stretch(rows, self._begun, over, self._before, self._period_us)

    def _let_go(self, before_us: int | None) -> None:
        """Settle the idle rows up to `before_us`, or all."""
        if not self._idle:
            return
        rows = self._dry.in_idle(together(self._idle))
        end = len(rows) if before_us is None else int(np.searchsorted(rows["us"], before_us))
        self._idle = [rows[end:]] if end < len(rows) else []
        if end:
            self._keep(idle_settled(rows[:end]), rows[:end])

    def _settle(self, stretch: Stretch) -> tuple[Settled, Pass | None, float]:
        """What the rows of a stretch of spraying put on the ground, the pass that they are, if they are one, and the
        period of its pulses."""
        rows = stretch.rows
        covered = cover_of(stretch)
        cover = covered.share
        known = rows["why"] == Why.ASSIGNED
        sprayed_before = np.concatenate((rows["spraying"][:1], rows["spraying"][:-1]))
        apart = ~known & (rows["spraying"] | sprayed_before | (rows["step_m3"] > 0) | without_water(rows))
        standing = stood_spraying(rows, cover, self._pulse_m)
        on_spot = poured_standing(rows, standing.share) * known
        way = np.where(known, way_sprayed(rows, cover), 0.0)
        area = way * self._swath_m
        way_m = math.fsum(way.tolist())
        sprayed_us = math.fsum(np.where(known, rows["step_us"] * cover, 0.0).tolist())
        pace = way_m / sprayed_us if sprayed_us > 0 else 0.0
        stopped = sprayed_us > 0 and on_spot.any()
        flow = math.fsum(np.where(known, rows["step_m3"], 0.0).tolist()) / sprayed_us if stopped else 0.0
        seconds = np.where(known, rows["step_s"] * cover, 0.0)
        poured = np.where(known, rows["step_m3"] * (1.0 - on_spot), 0.0)
        counts = way_m >= SHORTEST_M
        used = np.flatnonzero((cover > 0) | (rows["step_m3"] > 0))
        number = np.zeros(len(rows), dtype=np.int64)
        if counts:
            number[used[0] : used[-1] + 1] = len(self.passes) + 1
        nothing = np.zeros(len(rows))
        settled = Settled(
            pass_number=number,
            ground_s=seconds,
            ground_m=way,
            ground_m2=area,
            ground_m3=poured,
            over_m2=nothing,
            under_m2=nothing,
            unknown_m2=nothing,
            off_target_s=nothing,
            stationary_s=seconds * on_spot,
            stationary_m3=np.where(on_spot > 0, rows["step_m3"] * on_spot, 0.0),
            unassigned_s=np.where(apart, rows["step_s"], 0.0),
            unassigned_m=np.where(apart, rows["step_m"], 0.0),
            unassigned_m3=np.where(apart, rows["step_m3"], 0.0),
            ends_m2=np.where(known, (pace * covered.chance_us) ** 2, 0.0),
            ends_doubt_m=np.where(known, pace * covered.doubt_us, 0.0),
            stops_m6=np.where(on_spot > 0, (flow * standing.chance_us) ** 2, 0.0),
            stops_doubt_m3=np.where(on_spot > 0, flow * standing.doubt_us, 0.0),
        )
        settled = with_sides(settled, rows, self._certainty.pulse_m3, self._pulse_m, self._target)
        return settled, self._pass(rows, settled, covered) if counts else None, covered.period_us

    def _pass(self, rows: Rows, settled: Settled, covered: Cover) -> Pass:
        began, ended = covered.began_us, covered.ended_us
        sums = _sums_of(settled)
        pressed = settled.ground_s * np.isfinite(rows["pressure_pa"])
        pressure_s = math.fsum(pressed.tolist())
        pressure = math.fsum((np.where(pressed > 0, rows["pressure_pa"], 0.0) * pressed).tolist())
        start_s, end_s = np.interp([began, ended], rows["us"], rows["host_s"]).tolist()
        if began < float(rows["us"][0]):
            start_s -= (float(rows["us"][0]) - began) * 1e-6
        rate = _ratio(sums["ground_m3"], sums["ground_m2"])
        return Pass(
            number=len(self.passes) + 1,
            start_s=start_s,
            end_s=end_s,
            distance_m=sums["ground_m"],
            area_m2=sums["ground_m2"],
            volume_m3=sums["ground_m3"],
            spraying_s=sums["ground_s"],
            off_target_s=sums["off_target_s"],
            off_target_m2=sums["over_m2"] + sums["under_m2"],
            over_m2=sums["over_m2"],
            under_m2=sums["under_m2"],
            unknown_m2=sums["unknown_m2"],
            pressure_pa=_ratio(pressure, pressure_s),
            speed_m_s=_ratio(sums["ground_m"], sums["ground_s"]),
            rate_m3_m2=rate,
            rate_u_m3_m2=rate
            * math.hypot(
                float(self._certainty.relative_u(_ratio(sums["ground_m3"], sums["ground_s"]))),
                ends_u_m(sums) / sums["ground_m"],
                _ratio(stops_u_m3(sums), sums["ground_m3"]),
                _ratio(RUN_ON_S, sums["ground_s"]),
            ),
            stops_u_m3=stops_u_m3(sums),
            switch_short_s=covered.switch_short_s,
        )

    def _keep(self, settled: Settled, rows: Rows) -> None:
        """These rows are settled."""
        self._fresh.append(settled)
        self._before = rows[-1:] if len(rows) else self._before
        apart = settled.unassigned_s, settled.unassigned_m3, settled.unassigned_m
        for place in np.flatnonzero((settled.unassigned_s > 0) | (settled.unassigned_m3 > 0)).tolist():
            self._apart.add(rows[place], *(float(column[place]) for column in apart))


def _sums_of(settled: Settled) -> dict[str, float]:
    columns = {name: getattr(settled, name) for name in SUMMED}
    return {name: math.fsum(column[column != 0.0].tolist()) for name, column in columns.items()}


def _ratio(above: float, below: float) -> float:
    return above / below if below > 0 else math.nan
