"""The big word does not flutter while the rate lies near an edge of the band."""

from __future__ import annotations

import numpy as np

from host.pipeline.ground import ON, OVER, UNDER, GroundTotals
from host.rig import rig_from_toml
from tests.host.pipeline.made import RIG


def sides(shares):
    """The side after each rate, given as a share of the target; the band is ± 10 %."""
    rig = rig_from_toml(RIG)
    rate = rig.target.rate_m3_m2 * np.asarray(shares)
    on, step = np.ones(len(rate), dtype=np.bool_), np.full(len(rate), 0.1)
    return GroundTotals(rig).push(on, step, rate).side.tolist()


def test_it_holds_within_one_percent_of_an_edge_and_turns_beyond():
    near = [1.095, 1.105] * 20
    assert set(sides([1.0, *near])) == {ON}
    assert set(sides([1.2, *near])) == {OVER}
    assert set(sides([0.8, *(0.905, 0.895) * 20])) == {UNDER}
    assert sides([1.0, 1.12, 1.08, 0.88, 0.92]) == [ON, OVER, ON, UNDER, ON]
    assert sides([1.2, np.nan, 1.105])[-1] == ON, "a new start is judged afresh"
