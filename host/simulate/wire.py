"""The way from the board to the computer: delay, lost lines, damaged bytes, a pulled cable."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from firmware_protocol.messages import MAX_LINE, REPORT_FIELDS
from host.frames import FRAME_DTYPE
from host.simulate.board import LINE_S, Sent
from host.simulate.disturbances import Disturbances
from host.simulate.encoding import encode_reports
from host.simulate.noise import grid
from host.simulate.settings import LinkSettings

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

TimedLine = tuple[float, bytes]  # when its last byte arrives (s from the start), and the line without line feed

_NAMES = [name for name, _ in REPORT_FIELDS]


@dataclass(frozen=True)
class _Passage:
    """The fate of each report, shape (n,)."""

    due_s: Floats
    arrives: Bools
    damaged: Bools
    where: Floats  # 0 to 1: which bit of the line is changed


class Wire:
    """Passes on what the board sends. The same reports meet the same fate however they are cut into batches."""

    def __init__(self, settings: LinkSettings, disturbances: Disturbances, rng: np.random.Generator) -> None:
        self._settings, self._disturbances, self._rng = settings, disturbances, rng
        self._free_s = 0.0  # when the board's transmitter is done with the report before
        self._last_s = 0.0  # a line that waits behind another arrives after it
        self._unplugged = [disturbance for disturbance in disturbances.all if disturbance.kind == "unplug"]

    def lines(self, sent: Sent) -> list[TimedLine]:
        """The lines that arrive, in the order in which they were sent."""
        passage = self._passage(sent)
        reports = encode_reports(sent.reports)
        for place in np.flatnonzero(passage.damaged).tolist():
            reports[place] = _with_changed_bit(reports[place], float(passage.where[place]))
        others = iter([*sent.others, (len(reports) + 1, 0.0, b"")])
        index, due, other = next(others)
        arrived: list[TimedLine] = []
        last_s = self._last_s
        for place in range(len(reports) + 1):
            while index == place:
                if self.connected(due):
                    last_s = max(last_s, due + self._settings.latency_s + len(other) * LINE_S / MAX_LINE)
                    arrived.append((last_s, other))
                index, due, other = next(others)
            if place < len(reports) and passage.arrives[place]:
                last_s = max(last_s, float(passage.due_s[place]))
                arrived.append((last_s, reports[place]))
        self._last_s = last_s
        return arrived

    def frames(self, sent: Sent) -> npt.NDArray[Any]:
        """The sound reports that arrive, as the journal's reader would give them: shape (m,), FRAME_DTYPE."""
        passage = self._passage(sent)
        sound = passage.arrives & ~passage.damaged
        frames = np.zeros(int(sound.sum()), dtype=FRAME_DTYPE)
        frames["host_s"] = np.round(passage.due_s[sound], 6)
        for name in _NAMES:
            frames[name] = sent.reports[name][sound]
        return frames

    def connected(self, at_s: float) -> bool:
        """Whether the cable is in."""
        return not any(disturbance.at_s <= at_s < disturbance.end_s for disturbance in self._unplugged)

    def _passage(self, sent: Sent) -> _Passage:
        settings, t, count = self._settings, sent.at_s, len(sent.at_s)
        if not count:
            nothing = np.empty(0)
            return _Passage(nothing, nothing > 0, nothing > 0, nothing)
        chance = self._rng.random((count, 4))
        delay = settings.latency_s - settings.jitter_s * np.log1p(-chance[:, 3])
        place = grid(LINE_S, 0, count)
        out = place + np.maximum.accumulate(np.maximum(sent.held_until_s, self._free_s) - place)
        self._free_s = float(out[-1]) + LINE_S
        # A line's delay ends before the next line's begins, so no line overtakes another.
        due = out + LINE_S + np.minimum(delay, settings.latency_s + LINE_S)
        lost = chance[:, 0] < settings.loss + self._disturbances.total(t, "line_loss")
        for disturbance in self._unplugged:
            lost |= (t >= disturbance.at_s) & (t < disturbance.end_s)
        damaged = ~lost & (chance[:, 1] < settings.damage + self._disturbances.total(t, "line_damage"))
        return _Passage(due, ~lost, damaged, chance[:, 2])


def _with_changed_bit(line: bytes, where: float) -> bytes:
    place, bit = divmod(int(where * len(line) * 8), 8)
    return line[:place] + bytes([line[place] ^ 1 << bit]) + line[place + 1 :]
