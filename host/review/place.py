"""Where along a pass something happened."""

from __future__ import annotations

from collections.abc import Sequence

from host.pipeline import Pass
from host.review.track import Track


def place_in_pass(track: Track, a_pass: Pass, at_s: float) -> float:
    """Sprayed metres from the start of the pass to the moment `at_s` (host time), within the pass's length."""
    steps = track.ground_m[track.between(a_pass.start_s, a_pass.end_s)]
    whole = float(steps.sum())
    if not whole > 0:
        return 0.0
    so_far = float(track.ground_m[track.between(a_pass.start_s, at_s)].sum())
    return min(so_far / whole, 1.0) * a_pass.distance_m


def place_of(track: Track, passes: Sequence[Pass], at_s: float) -> tuple[int, float] | None:
    """Number of the pass in which the moment lies, and metres walked from its start; None outside every pass."""
    for a_pass in passes:
        if a_pass.start_s <= at_s <= a_pass.end_s:
            along = track.distance_m[track.between(a_pass.start_s, at_s)]
            return a_pass.number, float(along[-1] - along[0]) if len(along) else 0.0
    return None
