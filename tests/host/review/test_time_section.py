"""Rate, flow, pressure and speed over time, against the totals and the simulator's truth."""

from __future__ import annotations

import json
import math

import pytest

from host.documents.document import Plot
from host.review.review import review_run
from host.review.time_section import time_section
from host.units import UNITS
from tests.host.review.test_clog_recording import RUN


@pytest.fixture(scope="module")
def review():
    return review_run(RUN)


@pytest.fixture(scope="module")
def plots(review):
    return {plot.title: plot for plot in time_section(review, "metric").blocks if isinstance(plot, Plot)}


def test_all_four_stand_over_one_time_axis(plots):
    assert list(plots) == ["Rate", "Flow", "Pressure", "Speed"]
    assert len({plot.x_range for plot in plots.values()}) == 1
    assert [plot.y_label for plot in plots.values()] == [UNITS["metric"][kind].symbol for kind in map(str.lower, plots)]


def mean_between(plot: Plot, begin_s: float, end_s: float) -> float:
    here = [y for x, y in plot.series[0].points if begin_s < 60 * x < end_s and math.isfinite(y)]
    return sum(here) / len(here)


def test_each_pass_has_its_own_rate_and_speed(plots):
    truth = json.loads(RUN.with_suffix(".truth.json").read_text())
    for a_pass in truth["passes"]:
        begin, end = a_pass["begin_s"] + 3, a_pass["end_s"] - 3
        assert mean_between(plots["Speed"], begin, end) == pytest.approx(a_pass["speed_m_s"] * 3.6, rel=0.02)
        if a_pass["number"] != 3:  # the nozzle clogs on the way
            rate = a_pass["rate_m3_m2"] * UNITS["metric"]["rate"].per_si
            assert mean_between(plots["Rate"], begin, end) == pytest.approx(rate, rel=0.03)


def test_the_fault_has_the_sign_of_the_picture(review, plots):
    assert [name for _, name in plots["Rate"].marks] == ["1"]
    assert plots["Rate"].marks[0][0] * 60 == pytest.approx(review.faults[0].began_s)
    assert plots["Flow"].marks[0][1] == ""
