"""What board and computer have just failed to do, in sentences for the live page, newest trouble first. Pure."""

from __future__ import annotations

import math
from collections import deque

from host.events import pause_message
from host.frames import Event
from host.pipeline import Pipeline, Signals, Unassigned, Why
from host.pipeline.faults.causes.pulses import FLOW_REFUSED
from host.pipeline.rows import DRY
from host.review.apart import REASONS
from host.review.board_said import (
    LEAST_STEPS,
    OTHER_BOARD,
    SWITCH_BACKWARDS,
    WhichBoard,
    dropped_message,
    interval_message,
    refused_message,
    switch_message,
    unsent_message,
)
from host.rig.against_board import interval_not_taken, unfiltered_message
from host.units import format_volume

SHOWN_S = 60.0  # for which something that is over is shown
_ASKED_S = 5.0  # a board that was asked for an interval has taken it by then, or does not
_STATE_S = 25.0  # a board says every 10 s what it has refused
_MOST = 2  # sentences at a time: the phone is small
_SEEN = 0.005  # of the volume
_SAID_OTHERWISE = (Why.NO_METER, Why.NO_WHEEL, Why.DROPPED, Why.REFUSED, Why.RESTART, Why.BOUNCES)


class BoardNotices:
    """Remembers when the board's own counts of failures went up."""

    def __init__(self) -> None:
        self._counts = {"dropped_pulses": 0, "unsent_lines": 0, "resets": 0}
        self._risen_s: dict[str, float] = {}
        self._now_s = 0.0
        self._slept = (-math.inf, "")  # when the computer last woke, and what is said of it
        self._which, self._other_board_s = WhichBoard(), -math.inf
        self._volume_m3 = 0.0
        self._stated_ms, self._stated_s = 0.0, 0.0  # between reports, as the board says, and since when
        self._steps_ms: deque[float] = deque(maxlen=LEAST_STEPS)  # as they come
        self._before = (math.nan, -1, -1)  # of the newest report: its time, how many were lost, how many restarts

    def stated(self, interval_ms: float) -> None:
        """The board has said how often it reports."""
        if interval_ms != self._stated_ms:
            self._stated_s = self._now_s
        self._stated_ms = interval_ms
        self._steps_ms.clear()

    def push(self, signals: Signals) -> None:
        """Continue with `signals`, at least one frame."""
        self._now_s, self._volume_m3 = float(signals.host_s[-1]), float(signals.volume_m3[-1])
        self._take_steps(signals)
        for name, before in self._counts.items():
            counts = getattr(signals, name)
            if counts[-1] > before:
                self._risen_s[name] = float(signals.host_s[int((counts > before).argmax())])
                self._counts[name] = int(counts[-1])

    def board_said(self, event: Event) -> None:
        """The board has said who it is."""
        if self._which.is_another(event):
            self._other_board_s = event.host_s

    def computer_slept(self, woke_s: float, seconds: float | None) -> None:
        """The recorder says that it stood still until `woke_s`."""
        self._slept = woke_s, pause_message(seconds)

    def _take_steps(self, signals: Signals) -> None:
        """Times between the newest reports, where none was lost and the board did not restart."""
        if len(signals) > LEAST_STEPS:
            self._before = (math.nan, -1, -1)
        columns = (signals.board_s, signals.lost_frames, signals.resets)
        for at_s, *gaps in zip(*(column[-LEAST_STEPS - 1 :].tolist() for column in columns), strict=True):
            if tuple(gaps) == self._before[1:]:
                self._steps_ms.append(1000.0 * (at_s - self._before[0]))
            self._before = (at_s, *gaps)

    def messages(self, pipeline: Pipeline, system: str) -> list[str]:
        """At most two sentences; of refused pulses that are called as a fault only the number."""
        called = any(fault.kind == FLOW_REFUSED and fault.ended_s is None for fault in pipeline.faults())
        said = [
            (one.end_s, refused_message(one, called=called and one.name == "flow"))
            for one in pipeline.refused
            if self._now_s - one.end_s < _STATE_S
        ]
        if self._now_s - self._slept[0] < SHOWN_S:
            said.append(self._slept)
        if self._recent("dropped_pulses"):
            dropped = self._counts["dropped_pulses"]
            said.append((self._risen_s["dropped_pulses"], dropped_message(dropped, pipeline.put_back)))
        if self._now_s - self._other_board_s < SHOWN_S:
            said.append((self._other_board_s, OTHER_BOARD))
        elif self._recent("resets"):  # at once: what is not assigned is settled only with its pass
            said.append((self._risen_s["resets"], f"{REASONS[Why.RESTART]}."))
        if self._recent("unsent_lines"):
            said.append((self._risen_s["unsent_lines"], unsent_message(self._counts["unsent_lines"])))
        newest = {one.why: one for one in pipeline.unassigned[-2:] if self._worth_saying(one)}  # once for each reason
        said += [(one.end_s, _apart(one, system)) for one in newest.values()]
        last = pipeline.passes[-1] if pipeline.passes else None
        if last and last.switch_short_s and self._now_s - last.end_s < SHOWN_S:
            said.append((last.end_s, switch_message(pipeline.passes)))
        said.append((0.0, interval_message(self._stated_ms, self._steps_ms)))  # always true: what is new comes first
        if not math.isnan(pipeline.switch_backwards_s):
            said.append((self._now_s, SWITCH_BACKWARDS))
        if (asked_ms := pipeline.rig.report_interval_ms) and self._not_taken(asked_ms):
            said.append((self._stated_s, interval_not_taken(asked_ms, round(self._stated_ms))))
        if pipeline.bouncing:
            said.append((self._now_s, unfiltered_message(pipeline.rig, pipeline.bouncing)))
        return [message for _, message in sorted(said, reverse=True) if message][:_MOST]

    def _not_taken(self, asked_ms: int) -> bool:
        differs = self._stated_ms not in (0.0, asked_ms)
        return differs and _ASKED_S < self._now_s - self._stated_s < _ASKED_S + SHOWN_S

    def _recent(self, name: str) -> bool:
        return self._now_s - self._risen_s.get(name, -SHOWN_S) < SHOWN_S

    def _worth_saying(self, one: Unassigned) -> bool:
        recent = one.why not in _SAID_OTHERWISE and self._now_s - one.end_s < SHOWN_S
        return recent and (one.why is not Why.SWITCH_OPEN or one.volume_m3 > _SEEN * self._volume_m3)


def _apart(one: Unassigned, system: str) -> str:
    if one.why in DRY:
        seconds = f"in these {one.seconds:.0f} s"
        nothing, unknown = f"Nothing reached the ground {seconds}.", f"What the ground got {seconds} is not known."
        return f"{REASONS[one.why]}. {nothing if one.why is Why.NO_WATER else unknown}"
    volume = format_volume(one.volume_m3, system)
    return f"{REASONS[one.why]}. {volume} in {one.seconds:.0f} s are not assigned to any ground."
