"""The wheel over a season: the lawns stay as long as they are, so their passes in pulses of the wheel must, too."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from host.journal import RunFile
from host.review.digest import digest_of
from host.review.review import review_of
from host.review.season import findings as kinds
from host.review.season import season_of
from tests.bench.bench_season import drawn
from tests.host.pipeline.made import IDENTITY
from tests.host.review.season_runs import DEMO, Truth, day_of, season, simulated

LENGTHS = {"Front lawn": 100.0, "Orchard": 61.0}  # pulses of the wheel over a pass
AT = 12


@pytest.fixture(scope="module")
def digest():
    return season(1, Truth())[0]


def over_lawns(digest, seed, change, scatter=0.005):
    """24 runs over two lawns in no order; from run 12 on the wheel gives so much more for the same way."""
    rng = np.random.default_rng(seed)
    runs = []
    for run, one in enumerate(drawn(digest, seed, "nothing")[:24]):
        site = list(LENGTHS)[rng.integers(2)]
        pulses = LENGTHS[site] * (1 + change * (run >= AT)) * np.exp(rng.normal(0.0, scatter))
        runs.append(replace(one, site=site, pass_pulses=float(pulses)))
    return runs


def wheel_findings(runs):
    return [one for one in season_of(runs).findings if one.kind == kinds.WHEEL_CHANGED]


def test_a_softer_tyre_is_found_over_lawns_of_two_sizes(digest):
    """A tyre that carries 5 % less radius gives 5 % more turns over the same way: circumference = 2 π r."""
    (found,) = wheel_findings(over_lawns(digest, 1, 0.05))
    assert day_of(AT - 1) <= found.first_day <= day_of(AT + 1)
    assert found.change == pytest.approx(0.05, abs=2.58 * found.change_u)
    assert "longer than before: a softer tyre" in found.sentence


def test_a_slipping_wheel_is_found_and_names_are_compared_as_people_write_them(digest):
    runs = over_lawns(digest, 2, -0.04)
    runs = [replace(one, site=f" {one.site.upper()}" if at % 2 else one.site) for at, one in enumerate(runs)]
    (found,) = wheel_findings(runs)
    assert found.change < 0 and "a wheel that slips" in found.sentence


def test_a_wheel_that_stays_is_not_accused(digest):
    assert sum(bool(wheel_findings(over_lawns(digest, seed, 0.0, scatter=0.01))) for seed in range(10)) == 0


def test_where_no_area_was_sprayed_often_the_wheel_is_not_watched_and_that_is_said(digest):
    runs = over_lawns(digest, 1, 0.05)
    for few in (runs[:5], [replace(one, site="") for one in runs], [replace(one, pass_pulses=None) for one in runs]):
        found = season_of(few)
        assert not found.pass_length.dates
        assert any("wheel and swath are not watched" in remark for remark in found.remarks)
    assert any("the wheel only by passes over the same ground" in one for one in season_of(runs).remarks)


def test_a_wheel_measured_anew_moves_nothing():
    """A run's passes are kept in pulses: read under another circumference they are as many."""
    assert DEMO.rig.wheel is not None
    ((started, frames, _),) = simulated(1, Truth())
    file = RunFile(Path("run.sward"), header={"started": started.isoformat()}, frames=frames, events=[IDENTITY])
    other = replace(DEMO.rig, wheel=replace(DEMO.rig.wheel, metres_per_pulse=DEMO.rig.wheel.metres_per_pulse * 1.03))
    first, second = (digest_of(review_of(file, rig)).pass_pulses for rig in (DEMO.rig, other))
    assert first == pytest.approx(second, rel=1e-9)
    assert first * DEMO.rig.wheel.metres_per_pulse == pytest.approx(38.0, rel=0.02)  # the passes are 38 m long
