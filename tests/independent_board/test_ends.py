"""Where passes begin and end on the ground, of a walker who stands until the spray comes and sets off with it."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from host.review.review import review_of
from host.rig import rig_from_toml
from tests.independent_board.board import Board
from tests.independent_board.cases import NO_SWITCH, PLAN
from tests.independent_board.lines import Who
from tests.independent_board.reading import STANDS_M_S, frames_file, rig_toml, truth_on_known_ground
from tests.independent_board.sprayer import STEP_S, spray

FROM_REST = replace(PLAN, passes=12, pass_m=5.0, from_rest=True, slow_s=0.3)


@cache
def walked(plan):
    return spray(plan, np.random.default_rng(31))


def reviewed(plan, interval_ms, switch=True):
    board = Board(Who(interval_ms=interval_ms, capabilities=0x0F if switch else NO_SWITCH))
    run = frames_file(*board.frames(walked(plan), np.random.default_rng(32)))
    return walked(plan), review_of(run, rig_from_toml(rig_toml(plan, switch=switch)), watch_faults=False)


@pytest.mark.parametrize(("interval_ms", "switch"), [(100, True), (100, False), (400, True), (1000, True)])
def test_short_passes_begun_from_rest_have_the_ground_that_was_sprayed(interval_ms, switch):
    """Strips of 5 m: half a report lost at an end, or a tenth of a second of the meter's lag, is 1 or 2 % of them."""
    sprayer, review = reviewed(FROM_REST, interval_ms, switch)
    assert review.totals.area_m2 == pytest.approx(sprayer.open_m[-1] * FROM_REST.swath_m, rel=0.009)
    assert len(review.passes) == 12
    for one, (begin, end) in zip(review.passes, sprayer.passes_s, strict=True):
        true = sprayer.between(sprayer.sprayed_m3, begin, end + 0.5) / sprayer.between(sprayer.open_m, begin, end)
        off = one.rate_m3_m2 - true / FROM_REST.swath_m
        assert abs(off) <= 2 * review.pass_rate_u_m3_m2(one), one.number


@pytest.mark.parametrize("slow_s", [0.0, 0.3], ids=["at once", "slowing down"])
@pytest.mark.parametrize(("interval_ms", "within_s"), [(100, 0.25), (500, 0.4), (1000, 0.45)])
def test_a_stop_with_the_spray_on_is_known_as_well_as_is_said(interval_ms, within_s, slow_s):
    """A stop in each pass: of 2 s the first, which may hide between two reports of 1 s. The doubt is in the ±."""
    stands = tuple((number, 3.0 * number, 1.0 + number) for number in range(1, 6))
    sprayer, review = reviewed(replace(PLAN, passes=5, slow_s=slow_s, stands=stands), interval_ms)
    true, totals = truth_on_known_ground(sprayer, review), review.totals
    stood_m3 = sprayer.sprayed_m3[-1] - true.volume_m3
    assert totals.standing_m3 / PLAN.flow_m3_s == pytest.approx(stood_m3 / PLAN.flow_m3_s, abs=within_s * len(stands))
    assert abs(totals.ground_m3 - true.volume_m3) <= 2 * totals.ground_u_m3
    assert abs(totals.rate_m3_m2 - true.rate_m3_m2) <= 2 * totals.rate_u_m3_m2
    stood = np.diff(sprayer.place_m, append=sprayer.place_m[-1]) < STANDS_M_S * STEP_S
    walked_m3 = np.cumsum(np.where(stood, 0.0, np.diff(sprayer.sprayed_m3, append=sprayer.sprayed_m3[-1])))
    for one, (begin, end) in zip(review.passes, sprayer.passes_s, strict=True):
        assert one.stops_u_m3 > 0
        rate = sprayer.between(walked_m3, begin, end + 0.5) / sprayer.between(sprayer.open_m, begin, end) / PLAN.swath_m
        assert abs(one.rate_m3_m2 - rate) <= 2 * review.pass_rate_u_m3_m2(one), one.number
