"""One run, reviewed: the same pipeline as the live page, over the whole file."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from host.calibrate.boom_card import CatchHeld, catch_held
from host.calibrate.cards import Card, cards_of_run
from host.events import NOTE_MIX, note_key
from host.frames import Event
from host.journal import RunFile, read_run
from host.pipeline import Fault, Pass, Pipeline, Refused, Settled, Signals, Unassigned
from host.pipeline.bouncing import FILTERS
from host.pipeline.calibrating import CalibrationSpan
from host.pipeline.faults import AlarmEvent
from host.pipeline.fitted import NOTHING, Inputs
from host.review.alarms import alarm_events
from host.review.balance import Product, PutDown, TankBalance, TankCount, products_of, tank_balance
from host.review.board_said import two_boards
from host.review.calibration_choice import RECORDED, Under
from host.review.evenness import Section, Strip, sections_off_target, strip_of
from host.review.hidden_ground import Known
from host.review.stationary_spots import Spot, standing_spots
from host.review.totals import Totals, known_of, totals_of
from host.review.track import Track, TrackKeeper
from host.review.verdict import Verdict, verdict_of
from host.rig import Rig
from host.rig.against_board import NO_IDENTITY, board_misfits

BLOCK_FRAMES = 16_384  # worked on together: fits the processor's cache
EXPANDED = 2.0  # coverage factor k of the ± shown: about 95 % (JCGM 100, 6.3.3)


@dataclass(frozen=True)
class Health:
    """How far the recording can be trusted."""

    frames: int
    duration_s: float  # from the first to the last frame, by the recorder's clock; not a number without any
    lost_frames: int  # by the board's sequence numbers
    wire_damage: int  # lines damaged between board and computer
    damaged_records: int  # places in the file that could not be verified
    lost_records: int  # records that the file's end counts and that could not be read
    resets: int  # restarts of the board
    dropped_pulses: int  # that the board says it failed to count, of flow or wheel
    put_back: Mapping[str, int]  # of them, by input, those that it has told of since (wire 1.1)
    unsent_lines: int  # that it says it could not send
    clock_scale: float  # host seconds per board second
    status: str  # how the recording ended; "no end record" when it was cut off
    complete: bool


@dataclass(frozen=True)
class Review:
    """All of it."""

    run: RunFile
    rig: Rig
    totals: Totals
    passes: list[Pass]
    faults: list[Fault]  # derived anew at each reading; nothing of them stands in the run file
    health: Health
    track: Track = field(repr=False)
    unassigned: tuple[Unassigned, ...] = ()  # what does not belong to known ground, in order of time
    refused: tuple[Refused, ...] = ()  # when an input refused more edges than is good
    later_notes: Mapping[str, str] = field(default_factory=dict)  # added beside the run afterwards; they win
    cards: tuple[Card, ...] = ()  # the calibrations that it was read under
    catch: CatchHeld | None = None  # what the faults were looked for against; None: the run's own first seconds
    watched: bool = True  # whether faults were looked for, and could be
    measured: Inputs = NOTHING  # what could be measured in some part of the run
    calibrations: tuple[CalibrationSpan, ...] = ()  # when it served one
    switch_backwards_s: float = math.nan  # since when the switch is known to read the wrong way round

    @property
    def verdict(self) -> Verdict | None:
        """By ground; None where nothing is known to have reached it."""
        return verdict_of(self.totals, self.passes, self.rig)

    @property
    def only_calibrated(self) -> bool:
        """Whether all that it sprayed was for calibrations, and none of it on ground."""
        apart = all(any(span.holds(one.start_s) for span in self.calibrations) for one in self.unassigned)
        return bool(self.calibrations) and not self.totals.doubt and not self.passes and apart

    @property
    def board_misfits(self) -> tuple[str, ...]:
        """Where the rig and the boards that were heard disagree; a sentence each, said once."""
        heard = [event.detail for event in self.run.events if event.kind == "identity"]
        if not heard and self.run.frames.size:
            return (NO_IDENTITY,)
        return tuple(dict.fromkeys(message for identity in heard for message in board_misfits(self.rig, identity)))

    @property
    def strips(self) -> list[Strip]:
        """Rate along the distance of each pass."""
        return [strip_of(self.track, one, self.rig.swath_m) for one in self.passes]

    def sections(self, strips: list[Strip]) -> list[Section]:
        """Sections of these strips off target, so that they can be found again on the ground."""
        return [one for strip in strips for one in sections_off_target(strip, self.rig.target, self.rig.swath_m)]

    @cached_property
    def known(self) -> Known:
        """What the known ground says of the rest of the run."""
        return known_of(self.totals, self.passes, self.rig)

    @cached_property
    def spots(self) -> list[Spot]:
        """Spots sprayed while standing."""
        return standing_spots(self.track, self.passes)

    @cached_property
    def alarms(self) -> list[AlarmEvent]:
        """What the alarm did, derived like the faults."""
        return alarm_events(self.faults, self.run.events)

    @cached_property
    def balance(self) -> TankBalance:
        """The tank's balance."""
        totals = self.totals
        count = TankCount(totals.volume_m3, totals.tank_left_m3, totals.uncounted_m3, totals.overfilled_m3)
        return tank_balance(self.run.events, self.notes, self.rig, count)

    @cached_property
    def products(self) -> tuple[Product, ...]:
        """Products per area, where a mixing sheet or a note gives the mix. Raises UserError for what cannot be read."""
        totals = self.totals
        down = PutDown(totals.rate_m3_m2, totals.rate_u_m3_m2, totals.volume_m3 + totals.uncounted_m3)
        products = products_of(self.run.events, self.notes, down)
        return tuple(replace(product, passes_over=self._passes_over(product)) for product in products)

    def _passes_over(self, product: Product) -> tuple[int, ...]:
        """Passes that surely got more than its limit: too little elsewhere makes the mean good, not the ground."""
        rate = self.totals.rate_m3_m2
        if product.limit is None or not rate:
            return ()
        most = product.limit / product.per_area * rate if product.per_area > 0 else math.inf
        return tuple(
            number
            for number, one in enumerate(self.passes, start=1)
            if one.rate_m3_m2 - EXPANDED * self.pass_rate_u_m3_m2(one) > most
        )

    @property
    def mixed(self) -> bool:
        """Whether a mixing sheet or a note says what was in the tank."""
        return NOTE_MIX in self.notes or any(event.kind == "mix" for event in self.run.events)

    def pass_volume_u_m3(self, one: Pass) -> float:
        """Standard uncertainty of the pass's volume: the meter's factor, a pulse at either end, its stops."""
        hz = one.volume_m3 / one.spraying_s * self.rig.meter.curve[0][1] if one.spraying_s > 0 else 0.0
        counted = math.hypot(float(self.rig.meter.uncertainty_in_run(hz)), self._flow_step(one))
        return math.hypot(one.volume_m3 * counted, one.stops_u_m3)

    def pass_rate_u_m3_m2(self, one: Pass) -> float:
        """Standard uncertainty of the pass's rate: calibrations, and the steps of flow and wheel pulses at its ends.

        Each end is read to a whole pulse (δ/√12: GUM F.2.2.1), and a pass has two ends: δ/√6.
        """
        wheel = self.rig.wheel.metres_per_pulse / math.sqrt(6.0) / one.distance_m if self.rig.wheel else 0.0
        return math.hypot(one.rate_u_m3_m2, one.rate_m3_m2 * math.hypot(self._flow_step(one), wheel))

    def _flow_step(self, one: Pass) -> float:
        flow = one.volume_m3 / one.spraying_s if one.spraying_s > 0 else 0.0
        if not one.volume_m3 > 0:
            return 0.0
        per_m3 = float(self.rig.meter.pulses_per_m3(flow * self.rig.meter.curve[0][1]))
        return 1.0 / per_m3 / math.sqrt(6.0) / one.volume_m3

    @property
    def started(self) -> datetime | None:
        """Wall-clock start, as the recorder's computer had it."""
        return self.run.started

    def at(self, host_s: float) -> str:
        """Time of day of a moment of the run; seconds from its start when the wall clock is not known."""
        if self.started is None:
            return f"+{host_s:.0f} s"
        return (self.started + timedelta(seconds=host_s)).strftime("%H:%M:%S")

    @property
    def notes(self) -> dict[str, str]:
        """The newest note under each key; one that was added later beside the run stands for the run's own."""
        own = {note_key(str(n.detail.get("key", ""))): str(n.detail.get("value", "")) for n in self.run.notes}
        return own | dict(self.later_notes)


def review_run(
    path: Path,
    *,
    under: Under = RECORDED,
    later_notes: Mapping[str, str] | None = None,
    watch_faults: bool = True,
) -> Review:
    """Review the run file at `path` under what is recorded in it, or under something else.

    Without `watch_faults` no fault is looked for: several times as fast, all else the same.
    Raises UserError when the file is no readable run, or holds no readable rig and none is given.
    """
    run = read_run(path)
    rig, cards = under.read(run)
    return review_of(run, rig, cards=cards, later_notes=later_notes, watch_faults=watch_faults)


def review_of(
    run: RunFile,
    rig: Rig,
    *,
    cards: Sequence[Card] | None = None,
    later_notes: Mapping[str, str] | None = None,
    watch_faults: bool = True,
    each: Callable[[Signals | Settled], None] | None = None,
) -> Review:
    """Review a run that has been read, under `rig`; see `review_run`.

    `cards` are those that hold, the recorded ones when None; a catch test among them is what faults are held against.
    `each` gets the signals as they come and their settled rows, which come later.
    """
    cards = tuple(cards_of_run(run.calibrations) if cards is None else cards)
    held = catch_held(rig, cards)
    pipeline = Pipeline(rig, held.pair if held else None, watch_faults=watch_faults)
    keeper = TrackKeeper(len(run.frames))
    last: Signals | None = None
    for signals in signals_of(run, pipeline):
        last = signals if len(signals) else last
        settled = pipeline.take_settled()
        keeper.push(signals)
        keeper.settle(settled)
        if each:
            each(signals)
            each(settled)
    settled = pipeline.take_settled()
    keeper.settle(settled)
    if each:
        each(settled)
    mixed = two_boards(run.frames) > 0  # the counts of one beside those of the other say nothing of either
    return Review(
        run,
        rig,
        _totals(run, pipeline, last, mixed=mixed),
        pipeline.passes,
        [] if mixed else pipeline.faults(),
        health_of(run, last, pipeline.put_back),
        keeper.track(),
        tuple(pipeline.unassigned),
        tuple(pipeline.refused),
        later_notes or {},
        cards,
        held,
        watch_faults and len(run.frames) > 0 and not mixed,
        pipeline.measured,
        tuple(pipeline.calibrations),
        pipeline.switch_backwards_s,
    )


def _totals(run: RunFile, pipeline: Pipeline, last: Signals | None, *, mixed: bool) -> Totals:
    """The totals; what was read of a board of another protocol is in none, so that the whole is not known."""
    totals = totals_of(pipeline, last)
    if mixed:
        return totals.not_known("reports of two boards are mixed in this run")
    return totals.without(("volume_m3", "volume_u_m3", "tank_left_m3") if run.uninterpreted else ())


def signals_of(run: RunFile, pipeline: Pipeline) -> Iterator[Signals]:
    """Signals of the whole run in blocks, at least one; `pipeline` must be fresh and is finished afterwards."""
    events = sorted(_from_their_start(run), key=lambda event: event.before_frame)
    place = 0
    for start in range(0, max(len(run.frames), 1), BLOCK_FRAMES):
        end = start + BLOCK_FRAMES
        here = []
        # What lies behind the last frame belongs to the last block.
        while place < len(events) and (events[place].before_frame < end or end >= len(run.frames)):
            h = events[place]
            here.append(Event(h.host_s, h.before_frame - start, h.kind, h.detail))
            place += 1
        yield pipeline.push(run.frames[start:end], here)
    pipeline.finish()


def _from_their_start(run: RunFile) -> Iterator[Event]:
    """The events; an identity line that came late (the first may have been damaged) holds for its start from the first,
    and so do the filters that a start's first state line names: a board gets others only after it.

    Live cannot know it sooner. A line that follows another of the same start stays in its place.
    """
    boots, begun, filtered = run.frames["boot"], -1, -1
    starts = [0, *(np.flatnonzero(boots[1:] != boots[:-1]) + 1).tolist()]
    for event in sorted(run.events, key=lambda event: event.before_frame):
        if event.kind not in ("identity", "board_state"):
            yield event
            continue
        first = place = min(event.before_frame, len(boots))
        if place and boots[place - 1] == event.detail.get("boot"):
            first = starts[bisect_right(starts, place - 1) - 1]
        if event.kind == "identity":
            late = first < place and first > begun
            begun = max(begun, first)
            yield Event(event.host_s, first, event.kind, event.detail) if late else event
            continue
        if first > filtered:
            filtered = first
            yield Event(event.host_s, first, FILTERS, event.detail)
        yield event


def health_of(run: RunFile, last: Signals | None, put_back: Mapping[str, int]) -> Health:
    """Health of a recording whose signals end with `last`; `put_back` is Pipeline.put_back."""
    seen = last is not None and len(last) > 0
    trailer: dict[str, Any] = run.trailer or {}
    return Health(
        frames=len(run.frames),
        duration_s=float(run.frames["host_s"][-1] - run.frames["host_s"][0]) if len(run.frames) else math.nan,
        lost_frames=int(last.lost_frames[-1]) if last is not None and seen else 0,
        wire_damage=run.wire_damage,
        damaged_records=run.damaged,
        lost_records=run.lost_records,
        resets=int(last.resets[-1]) if last is not None and seen else 0,
        dropped_pulses=int(last.dropped_pulses[-1]) if last is not None and seen else 0,
        put_back=put_back,
        unsent_lines=int(last.unsent_lines[-1]) if last is not None and seen else 0,
        clock_scale=float(last.clock_scale[-1]) if last is not None and seen else math.nan,
        status=str(trailer.get("status", "no end record")),
        complete=run.complete,
    )
