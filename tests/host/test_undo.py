"""Refills and marks that are taken back, and words that a mark is given."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.events import as_meant
from host.frames import Event
from host.pipeline.tank import TankLevel

CAPACITY = 0.05


def event(kind: str, place: int = 0, **detail: object) -> Event:
    return Event(float(place), place, kind, detail)


def test_the_last_that_holds_is_taken_back() -> None:
    told = [event("mark"), event("refill"), event("mark"), event("undo", of="mark"), event("undo", of="refill")]
    assert as_meant(told) == [told[0]]
    assert as_meant([*told, event("undo", of="mark")]) == []


def test_an_undo_without_anything_to_undo_changes_nothing() -> None:
    told = [event("run_start"), event("undo", of="mark"), event("undo", of="run_start"), event("undo")]
    assert as_meant(told) == told[:1]


def test_words_go_to_the_last_mark() -> None:
    told = [event("mark", by="Ann"), event("mark"), event("mark_text", text="gate"), event("mark_text", text="oak")]
    assert [one.detail for one in as_meant(told)] == [{"by": "Ann"}, {"text": "oak"}]
    assert as_meant([event("mark_text", text="gate")]) == []


def test_a_refill_taken_back_leaves_the_level_as_if_it_had_not_been() -> None:
    volume = np.linspace(0.0, 0.03, 31)
    wrong = [event("refill", 10), event("undo", 20, of="refill")]
    level = TankLevel(CAPACITY).push(volume, wrong)
    assert level[15] == pytest.approx(CAPACITY - (volume[15] - volume[9]))
    assert level[20:] == pytest.approx(CAPACITY - volume[20:])


@pytest.mark.parametrize(("detail", "over_m3"), [({"added_m3": 0.04}, 0.021), ({"to_m3": 0.09}, 0.04)])
def test_a_tank_is_at_most_full_and_what_is_too_much_is_known(detail: dict, over_m3: float) -> None:
    volume = np.linspace(0.0, 0.03, 31)
    tank = TankLevel(CAPACITY)
    level = tank.push(volume, [event("refill", 20, **detail)])
    assert level[20:] == pytest.approx(CAPACITY - (volume[20:] - volume[19]))
    assert tank.over_m3 == pytest.approx(over_m3)
    tank.push(volume, [event("refill", 0)])
    assert tank.over_m3 == 0
    tank.push(volume, [event("refill", 0, **detail), event("undo", 1, of="refill")])
    assert tank.over_m3 == 0


KINDS = st.sampled_from(
    [
        ("refill", {}),
        ("refill", {"added_m3": 0.01}),
        ("refill", {"added_m3": 0.03}),
        ("undo", {"of": "refill"}),
        ("undo", {}),
    ]
)


@given(st.lists(st.tuples(st.integers(0, 30), KINDS), max_size=8), st.integers(1, 29))
def test_any_cutting_gives_the_same_levels_as_the_events_that_are_meant(told: list, cut: int) -> None:
    volume = np.linspace(0.0, 0.03, 30)
    events = [event(kind, place, **detail) for place, (kind, detail) in sorted(told, key=lambda one: one[0])]
    whole = TankLevel(CAPACITY).push(volume, events)
    tank = TankLevel(CAPACITY)
    first = tank.push(volume[:cut], [one for one in events if one.before_frame < cut])
    later = [Event(one.host_s, one.before_frame - cut, one.kind, one.detail) for one in events]
    second = tank.push(volume[cut:], [one for one in later if one.before_frame >= 0])
    assert np.array_equal(np.concatenate([first, second]), whole)
    if not events or events[-1].before_frame < 30:
        meant = TankLevel(CAPACITY).push(volume, as_meant(events))
        assert whole[-1] == pytest.approx(meant[-1], abs=1e-12)
