"""Where along a pass something happened."""

from __future__ import annotations

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
