"""When a run served a calibration, as the page said: what the watch over faults finds then is of a catch in a jug, with
the sprayer standing, and not of spraying.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from host.events import CALIBRATION, CALIBRATION_END
from host.frames import Event
from host.pipeline.columns import Bools, Floats
from host.pipeline.faults.fault import Fault

_LASTS_S = 300.0  # after the last that was said of it: somebody has left the page
_SILENT_S = 1.5  # between rows: longer is not known to have been sprayed
_GROUND_M = 5.0  # sprayed on the way: whoever sprays ground does not calibrate
_SPRAYED_S = 60.0  # the same where no wheel says whether it went on, and long enough to walk to the pump
# Faults that are as true while water is caught.
_ALWAYS = frozenset({"board_reset", "link_stale", "link_poor", "battery", "transducer_open"})


@dataclass
class CalibrationSpan:
    """A time of calibrating, in seconds of the run; `kinds` are those of its cards, in order.

    A fault that began in it counts when it is still there at `sure_s`: by then ground has been sprayed.
    """

    begin_s: float
    kinds: list[str]
    end_s: float | None = None
    sure_s: float | None = None

    def holds(self, at_s: float) -> bool:
        """Whether a moment lies in it."""
        return self.begin_s <= at_s and (self.end_s is None or at_s <= self.end_s)


class Calibrating:
    """Follows a run's events and rows, in pieces of any size.

    It begins where the spray came on, when it is on already: a steady pressure is set before the first catch. It ends
    when the page says so, when ground is sprayed, or when nothing more is said of it for long.
    """

    def __init__(self) -> None:
        self.spans: list[CalibrationSpan] = []
        self._off_s, self._on_m = -math.inf, 0.0  # when it last did not spray, and how far it went since
        self._said_s = self._row_s = math.nan
        self._sprayed_m = self._sprayed_s = 0.0

    @property
    def under_way(self) -> bool:
        """Whether one is going on now."""
        return bool(self.spans) and self.spans[-1].end_s is None

    def push(self, events: list[Event], host_s: Floats, spraying: Bools, step_m: Floats) -> Bools:
        """Continue with rows, shape (n,) each, among which `events` lie; `step_m` is the wheel's way, 0 without one.

        Where one was under way by what had been said, shape (n,).
        """
        place, now = 0, np.zeros(len(host_s), dtype=np.bool_)
        for event in events:
            if event.kind in (CALIBRATION, CALIBRATION_END):
                rows = slice(place, event.before_frame)
                self._rows(host_s[rows], spraying[rows], step_m[rows], now[rows])
                place = max(place, event.before_frame)
                self._say(event)
        self._rows(host_s[place:], spraying[place:], step_m[place:], now[place:])
        return now

    def shown(self, faults: Iterable[Fault]) -> list[Fault]:
        """Those that are of spraying; one that has outlasted a calibration was called when that was sure."""
        return list(self._shown(faults))

    def _shown(self, faults: Iterable[Fault]) -> Iterator[Fault]:
        for fault in faults:
            span = next((span for span in self.spans if span.holds(fault.began_s)), None)
            if span is None or fault.kind in _ALWAYS:
                yield fault
            elif span.sure_s is not None and (fault.ended_s is None or fault.ended_s > span.sure_s):
                heard_s = None if fault.heard_s is None else max(fault.heard_s, span.sure_s)
                yield replace(fault, called_s=max(fault.called_s, span.sure_s), heard_s=heard_s)

    def _say(self, event: Event) -> None:
        last = self.spans[-1] if self.spans else None
        if event.kind == CALIBRATION_END:
            if last is not None and last.end_s is None:
                self._end(event.host_s)
            return
        self._said_s = event.host_s
        if last is None or last.sure_s is not None:
            stood = math.isfinite(self._off_s) and self._on_m < _GROUND_M
            last = CalibrationSpan(min(self._off_s, event.host_s) if stood else event.host_s, [])
            self.spans.append(last)
        last.end_s = None
        self._sprayed_m = self._sprayed_s = 0.0
        kind = str(event.detail.get("text", ""))
        if kind not in last.kinds:
            last.kinds.append(kind)

    def _rows(self, host_s: Floats, spraying: Bools, step_m: Floats, now: Bools) -> None:
        if self.spans and self.spans[-1].sure_s is None:
            rows = zip(host_s.tolist(), spraying.tolist(), step_m.tolist(), strict=True)
            for place, (at_s, on, way_m) in enumerate(rows):
                self._row(at_s, way_m if on else 0.0, on=on)
                now[place] = self.under_way
                if self.spans[-1].sure_s is not None:
                    break
        off = np.flatnonzero(~spraying)
        if len(off):
            self._off_s, self._on_m = float(host_s[off[-1]]), 0.0
        since = step_m[off[-1] + 1 :] if len(off) else step_m
        self._on_m = float(np.cumsum(np.concatenate(([self._on_m], since)))[-1])
        if len(host_s):
            self._row_s = float(host_s[-1])

    def _row(self, at_s: float, way_m: float, *, on: bool) -> None:
        span = self.spans[-1]
        self._sprayed_m += way_m
        if span.end_s is None:
            if self._sprayed_m > _GROUND_M or at_s - self._said_s > _LASTS_S:
                self._end(at_s)
        else:
            step_s = at_s - self._row_s
            self._sprayed_s += step_s if on and step_s < _SILENT_S else 0.0
        if span.end_s is not None and (self._sprayed_m > _GROUND_M or self._sprayed_s > _SPRAYED_S):
            span.sure_s = at_s
        self._row_s = at_s

    def _end(self, at_s: float) -> None:
        self.spans[-1].end_s = at_s
        self._sprayed_s = 0.0
