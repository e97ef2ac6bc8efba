"""Whether the last frames look like a step seen through the rotor's lag, or like a bubble's erratic pulses."""

from __future__ import annotations

import numpy as np

from host.pipeline.columns import Floats
from host.pipeline.faults.coefficient import LAG_S

SHAPE_FRAMES = 12
_FRAME_S = 0.1
_BEFORE = 1  # frame before the step that has to fit as well
_SIGMAS = 2.2  # of one frame: what may be left beside the step
_SHARE = 0.15  # of the step itself: the true lag is not known exactly
_PHASES = (0.0, 0.25, 0.5, 0.75)


def _template(phase: float, frames: int) -> Floats:
    """Mean over each frame of 1 - exp(-t/τ), for a step that comes `phase` of a frame into the first one."""
    edges = np.maximum(np.arange(frames + 1) * _FRAME_S - phase * _FRAME_S, 0.0)
    risen = edges + LAG_S * np.exp(-edges / LAG_S)
    return np.asarray(np.diff(risen) / _FRAME_S)


_TEMPLATES = {phase: _template(phase, SHAPE_FRAMES) for phase in _PHASES}


def looks_like_a_step(off: Floats, frames: int, sd: float) -> bool:
    """`off` is how far c was off its baseline in the last frames, shape (≤ SHAPE_FRAMES,); the step began `frames` ago.

    A least-squares step is taken out, for several moments within the first frame; what is left must be noise of `sd`.
    """
    if frames >= SHAPE_FRAMES - _BEFORE:
        return True
    used = off[-(frames + _BEFORE) :]
    left = []
    for first in (len(used) - frames - 1, len(used) - frames, len(used) - frames + 1):
        if not 0 <= first < len(used):
            continue
        for template in _TEMPLATES.values():
            shape = np.concatenate((np.zeros(first), template[: len(used) - first]))
            size = float(np.sum(used * shape) / max(np.sum(shape * shape), 1e-12))
            rest = float(np.sqrt(np.mean((used - size * shape) ** 2)))
            left.append(rest - _SHARE * abs(size))
    return not left or min(left) <= _SIGMAS * sd
