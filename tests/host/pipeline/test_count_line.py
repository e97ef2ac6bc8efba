"""Where spraying began and ended, off a steady count: by the arithmetic of evenly spaced pulses, row by row."""

import numpy as np
import pytest

from host.pipeline.count_line import began_us, ended_us
from host.pipeline.rows import ROW, Why

STEP_US = 100_000
HZ = 40.0  # four pulses a row
OPENED_US = 1_250_000  # in row 12


def sprayed(seconds: float, rows: int = 80) -> np.ndarray:
    """Rows of a valve that is open for so long; the rotor stands half a pulse on, and has no lag."""
    made = np.zeros(rows, dtype=ROW)
    made["us"] = STEP_US * np.arange(1, rows + 1)
    made["step_us"] = STEP_US
    flowed_us = np.clip(made["us"] - OPENED_US, 0, round(seconds * 1e6))
    made["pulses"] = np.floor(flowed_us * HZ * 1e-6 + 0.5)
    made["edge_us"] = np.where(made["pulses"], OPENED_US + (made["pulses"] - 0.5) / HZ * 1e6, 0)
    made["timed"] = np.diff(made["pulses"], prepend=0) > 0
    made["spraying"] = made["timed"]
    return made


def bounds(rows: np.ndarray) -> tuple[int, int]:
    """First and last row with pulses."""
    timed = np.flatnonzero(rows["timed"])
    return int(timed[0]), int(timed[-1])


@pytest.mark.parametrize("seconds", [1.8, 2.0, 5.0])
def test_both_ends_are_where_the_valve_moved(seconds):
    rows = sprayed(seconds)
    first, last = bounds(rows)
    assert began_us(rows, first, last) == pytest.approx(OPENED_US, abs=1.0)
    assert ended_us(rows, first, last + 5) == pytest.approx(OPENED_US + seconds * 1e6, abs=1.0)


def test_pulses_from_before_and_a_row_in_the_middle_of_the_run_shift_nothing():
    rows = sprayed(3.0)
    first, last = bounds(rows)
    later = np.concatenate((np.zeros(50, dtype=ROW), rows))
    later["us"][:50] = STEP_US * np.arange(1, 51)
    for name in ("us", "edge_us"):
        later[name][50:] += 50 * STEP_US
    later["pulses"] += 7_000
    assert began_us(later, first + 50, last + 50) == pytest.approx(OPENED_US + 5e6, abs=1.0)
    assert ended_us(later, first + 50, last + 55) == pytest.approx(OPENED_US + 8e6, abs=1.0)


def test_only_the_rows_of_the_pass_are_looked_at():
    rows = sprayed(2.5)
    first, last = bounds(rows)
    rows["edge_us"][last - 5 : last + 1] += np.arange(1, 7) * 5_000  # the rotor runs down
    began, ended = began_us(rows, first, last - 2), ended_us(rows, first, last)
    strange = rows.copy()
    strange["pulses"][last + 1 :] += 1000
    strange["edge_us"][last + 1 :] += 1_000_000
    strange["timed"][last + 1 :] = True
    assert ended_us(strange, first, last) == ended
    strange["pulses"][last - 1 :] += 1000
    assert began_us(strange, first, last - 2) == began


def test_the_last_row_of_the_pass_counts():
    """Six pulses in two rows or more of the steady part are the least: without the last row there are too few."""
    rows = sprayed(5.0)
    first, _ = bounds(rows)
    # The first edge in row 12, the steady part 0.7 s later: rows 20 and on.
    steady = int(np.flatnonzero(rows["edge_us"] >= rows["edge_us"][first] + 700_000)[0])
    assert began_us(rows, first, steady + 2) == pytest.approx(OPENED_US, abs=1.0)
    assert began_us(rows, first, steady + 1) is None, "four pulses in the two rows"


@pytest.mark.parametrize("tenths", range(14, 24))
def test_an_end_is_told_when_the_steady_part_has_six_pulses(tenths):
    """0.7 s from the first pulse and 0.7 s from the last one are left out."""
    rows = sprayed(tenths / 10)
    first, last = bounds(rows)
    edges = rows["edge_us"][rows["timed"]]
    steady = edges[(edges >= edges[0] + 700_000) & (edges <= edges[-1] - 700_000)]
    known = len(steady) > 1 and (steady[-1] - steady[0]) * HZ * 1e-6 > 5.9
    ended = ended_us(rows, first, last)
    assert ended == (pytest.approx(OPENED_US + tenths * 1e5, abs=1.0) if known else None)


@pytest.mark.parametrize("why", [Why.DROPPED, Why.RESTART, Why.SILENCE])
def test_counts_that_do_not_belong_together_tell_nothing(why):
    rows = sprayed(5.0)
    first, last = bounds(rows)
    edges = rows["edge_us"]
    reach = int(np.flatnonzero(edges <= edges[first] + 4_200_000)[-1])  # the last row the line is drawn through
    for row in (first, first + 10, reach):
        broken = rows.copy()
        broken["why"][row] = why
        assert began_us(broken, first, last) is None, row
    broken = rows.copy()
    broken["why"][reach + 1] = why
    assert began_us(broken, first, last) == pytest.approx(OPENED_US, abs=1.0), "what comes after does not matter"
    for row in (last - 10, last, last + 5):
        broken = rows.copy()
        broken["why"][row] = why
        assert ended_us(broken, first, last + 5) is None, row
    broken = rows.copy()
    broken["why"][last + 6] = why
    assert ended_us(broken, first, last + 5) == pytest.approx(OPENED_US + 5e6, abs=1.0)


def test_a_dribble_tells_nothing():
    rows = sprayed(0.6)
    first, last = bounds(rows)
    assert began_us(rows, first, last) is None
    assert ended_us(rows, first, last + 5) is None
    assert began_us(rows, 0, 5) is None, "nor does a pass that the run begins with"
    assert ended_us(sprayed(0.0), 3, 9) is None
