"""The flow meter's poles are not evenly spaced: learn how far off each is, and take it out.

A rotor with q magnets gives q pulses a turn, each a few percent of a pitch early or late. Over one report that is the
largest noise by far, and it repeats with every turn. How many poles there are is found from the pulses themselves.
"""

from __future__ import annotations

import numpy as np

from host.pipeline.columns import Floats, Ints
from host.pipeline.faults.timing import USUAL, Timing
from host.pipeline.faults.tuning import TUNING

POLES = range(2, 13)


class PoleMap:
    """Corrects pulse counts between edges. State is changed only after whole blocks of TUNING.pole_block frames."""

    def __init__(self, timing: Timing = USUAL) -> None:
        self._frames = timing.frames(TUNING.pole_frames)  # from which the map is learned
        self.poles = 0  # 0: none found so far
        self._offset: Floats = np.zeros(1)
        self.spread = 0.0  # standard deviation (pulses) that the poles bring into a frame that is not corrected
        self._turned: Floats  # what a frame is off with the map turned by each shift, by its two poles
        self._shift = 0
        self._pulses: Floats = np.empty(0)
        self._wanted: Floats = np.empty(0)
        self._edge: Ints = np.empty(0, dtype=np.int64)
        self._since = 0
        self._doubt, self._sure = 0, False

    @property
    def mapped(self) -> bool:
        """Whether the map is known to fit, or there is none."""
        return not (self.poles and self._doubt)

    def room(self) -> int:
        """How many frames can be pushed at once: any number with a map that fits."""
        block = TUNING.pole_block - self._since
        return min(block, self._doubt) if self._doubt else 2**62 if self.poles else block

    def doubt(self, sure: bool) -> None:
        """From the next frame on the pulses may belong to other poles; `sure`: they do, one was false or missed."""
        self._sure = sure or (self._sure and self._doubt > 0)
        self._doubt = TUNING.pole_doubt_frames
        if sure and not self.poles:  # what belongs to different poles must not be learned from together
            self._pulses, self._wanted, self._edge = self._pulses[:0], self._wanted[:0], self._edge[:0]

    def push(self, pulses: Floats, expected: Floats, edge: Ints) -> Floats:
        """Corrected pulses of at most `room()` frames, shape (n,); `expected` may be out by a constant factor."""
        shift: int | Ints = self._shift
        if self.poles and not self._doubt:
            shift = self._shifts(pulses, expected, edge)
        corrected = pulses - self._place(edge, pulses, shift) if self.mapped or not self._sure else pulses
        self._pulses = np.concatenate((self._pulses, pulses))[-self._frames :]
        self._wanted = np.concatenate((self._wanted, expected))[-self._frames :]
        self._edge = np.concatenate((self._edge, edge))[-self._frames :]
        self._since += len(pulses)
        if self._doubt:
            self._doubt -= len(pulses)
            if not self._doubt and self.poles:
                self._realign(min(TUNING.pole_doubt_frames, len(self._pulses)))
        if self._since >= TUNING.pole_block:
            if not self.poles:
                self._find()
            elif isinstance(shift, int):
                self._realign(TUNING.pole_block)
            self._since %= TUNING.pole_block
        return corrected

    def _shifts(self, pulses: Floats, expected: Floats, edge: Ints) -> Ints:
        """By how many poles the map is turned in each of the next frames: it is aligned after each whole block."""
        block, n = TUNING.pole_block, len(pulses)
        count, kept = (self._since + n) // block, slice(len(self._pulses) - self._since, None)
        due, wanted = (
            np.concatenate((before[kept], new))[: count * block].reshape(count, block)
            for before, new in ((self._pulses, pulses), (self._wanted, expected))
        )
        edges = np.concatenate((self._edge[kept], edge))[: count * block].reshape(count, block)
        turned = [self._shift]
        for spread in self._spreads(due, wanted, edges).tolist():
            self._turn(spread)
            turned.append(self._shift)
        return np.repeat(turned, block)[self._since : self._since + n]

    def log_levels(self) -> Floats:
        """ln of corrected over expected pulses for the frames that the map was last fitted to, shape (n,)."""
        corrected = self._pulses - self._place(self._edge, self._pulses, self._shift)
        return np.asarray(np.log(np.maximum(corrected, 0.05) / self._wanted))

    def _place(self, edge: Ints, pulses: Floats, shift: int | Ints) -> Floats:
        if not self.poles:
            return np.zeros(len(edge))
        end = (edge + shift) % self.poles
        begin = (edge - pulses.astype(np.int64) + shift) % self.poles
        return np.asarray(self._offset[end] - self._offset[begin])

    def _find(self) -> None:
        if len(self._pulses) < self._frames:
            return
        excess = _excess(self._pulses, self._wanted)
        trained = self._frames * 3 // 4
        best, found = TUNING.pole_worth, 0
        for poles in POLES:
            offset = _fit(excess[:trained], self._edge[:trained], self._pulses[:trained], poles)
            left = excess[trained:] - _difference(offset, self._edge[trained:], self._pulses[trained:])
            ratio = float(left.var() / max(excess[trained:].var(), 1e-12))
            if ratio < best * 0.95:  # twice the poles fit as well: the smaller number is the rotor
                best, found = ratio, poles
        if found:
            self.poles, self._shift = found, 0
            self._offset = _fit(excess, self._edge, self._pulses, found)
            self.spread = float(np.sqrt(2.0 * np.mean(self._offset**2)))
            pole = np.arange(found)
            turned = self._offset[(pole[:, None] + pole) % found]
            self._turned = (turned[:, :, None] - turned[:, None, :]).reshape(found, -1)

    def _realign(self, frames: int) -> None:
        """After a false or a missed pulse the map fits again when turned by some poles."""
        self._turn(self._spreads(self._pulses[-frames:], self._wanted[-frames:], self._edge[-frames:]).tolist())

    def _spreads(self, pulses: Floats, wanted: Floats, edge: Ints) -> Floats:
        """The variance that each shift leaves, shape (…, poles), of frames of shape (…, n)."""
        poles = self.poles
        off = self._turned.take(edge % poles * poles + (edge - pulses.astype(np.int64)) % poles, axis=1)
        return np.asarray((_excess(pulses, wanted) - off).var(axis=-1).T)

    def _turn(self, spread: list[float]) -> None:
        best = spread.index(min(spread))
        if spread[best] < TUNING.pole_realign * spread[self._shift]:
            self._shift = best


def _excess(pulses: Floats, wanted: Floats) -> Floats:
    """By how many pulses each frame is off the even flow of its row; shape (…, n) kept."""
    ratios, count = np.sort(pulses / wanted, axis=-1), pulses.shape[-1]
    ratio = 0.5 * (ratios[..., (count - 1) // 2] + ratios[..., count // 2])[..., None]
    return np.asarray(np.clip(pulses - wanted * ratio, -TUNING.pole_clip, TUNING.pole_clip))


def _difference(offset: Floats, edge: Ints, pulses: Floats) -> Floats:
    poles = len(offset)
    return np.asarray(offset[edge % poles] - offset[(edge - pulses.astype(np.int64)) % poles])


def _fit(excess: Floats, edge: Ints, pulses: Floats, poles: int) -> Floats:
    """Least squares for the poles' offsets (pulses), which sum to zero, from frames that begin and end at a pole each.

    Normal equations of excess = offset[end] - offset[begin] (NIST/SEMATECH e-Handbook, 4.4.3.1).
    """
    end, begin = edge % poles, (edge - pulses.astype(np.int64)) % poles
    pairs = np.bincount(end * poles + begin, minlength=poles * poles).reshape(poles, poles).astype(np.float64)
    matrix = -(pairs + pairs.T)
    matrix += np.diag(np.bincount(end, minlength=poles) + np.bincount(begin, minlength=poles))
    right = np.bincount(end, excess, poles) - np.bincount(begin, excess, poles)
    return np.asarray(np.linalg.solve(matrix + 1.0 + 1e-6 * np.eye(poles), right))
