"""Breaks of a day's work: by their taps, and by spraying where Resume was forgotten."""

from __future__ import annotations

import numpy as np

from host.frames import Event
from host.review.breaks import Break, breaks_of

HOST_S = np.arange(0.0, 100.0, 1.0)


def taps(*pairs: tuple[str, float]) -> list[Event]:
    return [Event(host_s=host_s, before_frame=0, kind=kind, detail={}) for kind, host_s in pairs]


def sprayed(*spans: tuple[float, float]) -> np.ndarray:
    return np.logical_or.reduce([(begin <= HOST_S) & (end > HOST_S) for begin, end in spans])


def test_a_break_lasts_from_pause_to_resume() -> None:
    events = taps(("work_paused", 20.5), ("work_resumed", 50.0), ("work_paused", 70.0), ("work_resumed", 80.0))
    assert breaks_of(events, HOST_S, sprayed((0, 20), (60, 65))) == [Break(20.5, 50.0), Break(70.0, 80.0)]


def test_spraying_ends_a_break_whose_resume_was_forgotten() -> None:
    events = taps(("work_paused", 20.5), ("work_paused", 70.0))
    assert breaks_of(events, HOST_S, sprayed((0, 20), (60, 65), (90, 95))) == [Break(20.5, 60.0), Break(70.0, 90.0)]


def test_what_is_still_sprayed_as_pause_is_tapped_ends_no_break() -> None:
    assert breaks_of(taps(("work_paused", 20.5)), HOST_S, sprayed((0, 24))) == [Break(20.5, None)]


def test_a_run_that_ends_in_a_break_leaves_it_open_and_a_second_pause_changes_nothing() -> None:
    events = taps(("work_resumed", 5.0), ("work_paused", 20.5), ("work_paused", 30.0))
    assert breaks_of(events, HOST_S, sprayed((0, 20))) == [Break(20.5, None)]
