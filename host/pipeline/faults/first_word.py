"""Whether a change that was just seen stays, or was a bubble, a dip, or the rotor running down at the end of a pass.

The less it changes, the longer it may wait for the answer: it costs the less ground.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from host.pipeline.columns import Floats
from host.pipeline.faults.timing import USUAL, Timing
from host.pipeline.faults.tuning import TUNING


@dataclass(frozen=True)
class FirstWord:
    """The frames since a change began, shape (n,), the newest last."""

    off: Floats  # of ln c from what it was before, positive in the direction of the change
    time_s: Floats
    down: bool
    even: float  # typical change of ln c from frame to frame before it
    timing: Timing = USUAL


def still_there(word: FirstWord, began_s: float, called_s: float, nozzles: int) -> bool | None:
    """True: it stays; False: there was none; None: wait for more."""
    off, n, frames = word.off, len(word.off), word.timing.frames
    if n < 2:
        return None
    few = frames((0.3, 1))
    means = _means(off, few)
    peak, left = float(means.max()), float(means[-1])
    worth = _worth(word, left, nozzles)
    wait_s = next(wait for least, wait in TUNING.confirm_s if worth >= least)
    now_s = float(word.time_s[-1])
    waited_s = min(now_s - began_s, now_s - called_s + TUNING.confirm_called_s)
    enough = _enough(peak, word.even, word.timing)
    # Pulses that are missing here and there come back for moments: then every frame has to be as before, for longer.
    uneven = float(np.mean(np.abs(np.diff(off)))) > TUNING.uneven_ratio * word.even
    seen = max(enough, frames(TUNING.uneven)) if uneven else enough
    last = off[-seen:]
    if n >= seen and (last.max() if uneven else last.mean()) < TUNING.recovered_share * float(
        _means(off, enough if enough > frames(TUNING.recovered) else few).max()
    ):
        return False
    if waited_s < wait_s or n < max(enough, TUNING.confirm_least) or _just_begun(word):
        return None
    if word.down and _running_down(word, left):
        return None
    # Those before the call were chosen for being far off: only what came after it bears witness.
    later = off[word.time_s > called_s]
    if _worth(word, float((later if len(later) else off).mean()), nozzles) < TUNING.least_nozzles:
        return False
    newest = float(off[-1]) + TUNING.even_frames_off * word.even
    waited_long = waited_s >= TUNING.uneven[0] and n >= frames(TUNING.uneven)
    share = TUNING.recovered_share if waited_long else TUNING.stays_share
    stays = (left if waited_long else min(left, newest)) >= share * peak and not _returning(word, peak, worth)
    return True if stays else None


def nozzles_worth(change: float, nozzles: int) -> float:
    """How many nozzles' flow a `change` of ln c is."""
    return abs(math.expm1(change)) * nozzles


def _worth(word: FirstWord, off: float, nozzles: int) -> float:
    """How many nozzles' worth of flow a change of ln c by `off` in its direction is."""
    return nozzles_worth(-off if word.down else off, nozzles)


def _means(off: Floats, frames: int) -> Floats:
    """Running means of so many frames, or of all when there are fewer."""
    length = min(len(off), frames)
    return np.convolve(off, np.full(length, 1.0 / length), "valid")


def _enough(peak: float, even: float, timing: Timing) -> int:
    """Frames whose mean tells a change of `peak` from none, where one frame is off by about `even`."""
    wanted = (TUNING.recovered_sigmas * even / max(peak, 1e-3)) ** 2 if math.isfinite(even) else 0.0
    return int(min(max(math.ceil(wanted), timing.frames(TUNING.recovered)), timing.frames(TUNING.recovered_most)))


def _just_begun(word: FirstWord) -> bool:
    """Whether most of it came in the last frames: what was waited for was something else, such as a jolt."""
    half = min(max(len(word.off) // 2, 1), word.timing.frames((0.3, 1)))
    now, before = float(np.mean(word.off[-half:])), float(np.mean(word.off[-2 * half : -half]))
    return 0.5 * now > before and now - before > TUNING.even_frames_off * word.even * (2.0 / half) ** 0.5


def _running_down(word: FirstWord, left: float) -> bool:
    """Whether these may still be the frames of a rotor that nothing drives any more."""
    off, time_s = word.off, word.time_s
    if left > TUNING.confirm_deep and time_s[-1] - time_s[0] < TUNING.confirm_deep_s:
        return True
    half = min(max(len(off) // 2, 1), word.timing.frames((0.3, 1)))
    apart_s = float(np.mean(time_s[-half:]) - np.mean(time_s[-2 * half : -half]))
    # The slower a rotor, the longer its lag: deep down it falls by less a second.
    falls = TUNING.confirm_slope * math.exp(-TUNING.confirm_slower * max(left - TUNING.confirm_deep, 0.0))
    return float(np.mean(off[-half:]) - np.mean(off[-2 * half : -half])) > falls * apart_s


def _returning(word: FirstWord, peak: float, worth: float) -> bool:
    """Whether a change is on its way back: a dip through the rotor's lag."""
    off = word.off
    half = min(word.timing.frames((0.2 if worth >= TUNING.confirm_s[0][0] else 0.4, 1)), len(off) // 2)
    return float(np.mean(off[-2 * half : -half]) - np.mean(off[-half:])) > TUNING.returning_share * peak
