"""Whether a fall of c is a nozzle that clogs, or a bubble on its way through.

While a bubble passes, the rotor turns unevenly: for two to four frames c can fall just as it does with a clog. The two
are weighed against each other by how likely the last frames are under either (a Bayes factor at the best fit: Kass and
Raftery, J. Am. Statistical Association 90, 1995). A clog falls as a step seen through the rotor's lag, stays, and
raises the pressure. A bubble scatters a few neighbouring frames, and the pump that swallows it lets the pressure drop.
None of this waits for another frame.
"""

from __future__ import annotations

import numpy as np

from host.pipeline.columns import Floats
from host.pipeline.faults.timing import USUAL, Timing
from host.pipeline.faults.tuning import TUNING

_LAGS_S = TUNING.lag_s - 0.05, TUNING.lag_s, TUNING.lag_s + 0.06
_ONSETS_S = np.arange(0.06, 1.2, 0.03)  # before the end
_AROUND = np.arange(-2.0, 2.1, 0.5)  # reports beside a longer window's beginning


def clog_odds(rows: Floats, frames: int, pulses: Floats, sd: float, timing: Timing = USUAL) -> Floats:
    """Log of the odds of a clog that came over the last `frames` frames against a bubble, shape (…).

    `rows` has shape (…, 4, n), the newest frame last: how far c is off its baseline (relative), expected pulses for
    c = 1, ln P and time (s). `pulses` are due in each frame, shape (…, n); `sd` is one frame's standard deviation.
    """
    before = timing.frames((0.4, 1))
    count = min(max(frames + before, timing.frames(TUNING.bubble_more)), rows.shape[-1])
    off, variance = rows[..., 0, -count:], sd * sd + TUNING.bubble_model_sd**2
    gain, size, onset_s = _step(off, rows[..., 3, -count:], frames, variance, timing)
    return np.asarray(
        gain - _bubble(off, pulses[..., -count:], variance, timing) + _pressure(rows, onset_s, size, timing)
    )


def _step(off: Floats, time_s: Floats, frames: int, variance: float, timing: Timing) -> tuple[Floats, Floats, Floats]:
    """The best step seen through a lag: gain in log likelihood over none, the fall, and how long ago it began (s)."""
    now_s = time_s[..., -1:]
    begun = now_s - time_s[..., -frames - 1, None] if frames < off.shape[-1] else np.zeros_like(now_s)
    onsets = np.concatenate((_ONSETS_S + 0.0 * now_s, np.maximum(begun + _AROUND * timing.interval_s, 0.06)), axis=-1)
    longest = max(TUNING.longest_frame_pulses_s, timing.interval_s)
    begins = np.maximum(np.concatenate((time_s[..., :1] - longest, time_s[..., :-1]), axis=-1), time_s - longest)
    since = (now_s - onsets)[..., None, None]
    lags = np.array(_LAGS_S)[:, None]
    # Mean of 1 - exp(-t/τ) over each frame.
    begins, ends = begins[..., None, None, :], time_s[..., None, None, :]
    first, last = np.maximum(begins - since, 0.0), np.maximum(ends - since, 0.0)
    shape = (last - first + lags * (np.exp(-last / lags) - np.exp(-first / lags))) / (ends - begins)
    product, square = (shape @ off[..., None, :, None])[..., 0], np.sum(shape * shape, axis=-1)
    size = np.clip(-product / np.maximum(square, 1e-9), 0.0, 1.0)  # no more can fall away than there was
    gain = (-(size * product + 0.5 * size * size * square) / variance).reshape(*off.shape[:-1], -1)
    best = np.argmax(gain, axis=-1, keepdims=True)
    sizes = size.reshape(gain.shape)
    found = [(gain, best), (sizes, best), (onsets, best // len(_LAGS_S))]
    gained, fallen, ago_s = (np.take_along_axis(what, place, axis=-1)[..., 0] for what, place in found)
    return gained, fallen, ago_s


def _bubble(off: Floats, pulses: Floats, variance: float, timing: Timing) -> Floats:
    """The best bubble, or one pulse missed: gain in log likelihood over none. A rotor's phase strays with the root of
    the pulses."""
    due = np.maximum(pulses, 0.3)
    best = np.zeros(off.shape[:-1])
    uneven = [(share * share / due, timing.frames(TUNING.bubble_most)) for share in TUNING.bubble_uneven]
    for scatter2, most in ((1.0 / (due * due), 1), *uneven):
        within = variance + scatter2
        gains = off * off * (1.0 / variance - 1.0 / within) - np.log(within / variance)
        total = np.concatenate((np.zeros_like(off[..., :1]), np.cumsum(0.5 * gains, axis=-1)), axis=-1)
        for length in range(1, min(most, off.shape[-1]) + 1):
            best = np.maximum(best, np.max(total[..., length:] - total[..., :-length], axis=-1))
    return best


def _pressure(rows: Floats, onset_s: Floats, size: Floats, timing: Timing) -> Floats:
    """What the pressure says: its last two or three frames against those before the onset."""
    time_s, log_p = rows[..., 3, :], rows[..., 2, :]
    frames = np.maximum(np.sum(time_s > time_s[..., -1:] - onset_s[..., None] + 0.03, axis=-1), 2)
    n, window = time_s.shape[-1], timing.frames(TUNING.step_window)
    first = n - frames - window
    place = np.maximum(first, 0)[..., None] + np.arange(min(window, n))
    apart_s = time_s[..., -1] - np.take_along_axis(time_s, place[..., :1], axis=-1)[..., 0]
    known = (first >= 0) & (apart_s <= (frames + window) * timing.interval_s + TUNING.bubble_missing_s)
    before = np.take_along_axis(log_p, np.minimum(place, n - 1), axis=-1)
    now = np.where(frames > 2, np.mean(log_p[..., -3:], axis=-1), np.mean(log_p[..., -2:], axis=-1))
    moved = now - np.mean(before, axis=-1)
    clog = (moved - TUNING.usual_droop * size) ** 2
    variance = TUNING.bubble_pressure_sd**2 + np.var(before, axis=-1)
    says = ((moved - TUNING.bubble_pressure) ** 2 - clog) / (2.0 * variance)
    return np.where(known, np.clip(says, -TUNING.bubble_pressure_most, TUNING.bubble_pressure_most), 0.0)
