"""Spots: strips too short for a rate over two seconds, of which each is known to several per cent only."""

import numpy as np
import pytest

from host.pipeline import Pipeline
from host.rig import rig_from_toml
from tests.host.pipeline.made import RIG, made_frames

STEP_S, SWATH_M, PER_M3 = 0.1, 2.0, 600e3
TARGET = 40 / PER_M3 / SWATH_M  # 40 Hz at 1 m/s


def sprayed(seconds, flow_hz, number=60):
    """Spots walked at 1 m/s with 3 s between; each begins at its own place between two reports and two pulses."""
    rng = np.random.default_rng(733)
    on = [np.zeros(4000, bool)]
    for _ in range(number):
        on += [np.ones(round(100 * seconds), bool), np.zeros(300 + int(rng.integers(0, 20)), bool)]
    on = np.concatenate(on)
    on = on[: len(on) // 10 * 10]
    fine = made_frames(np.where(on, flow_hz, 0.0), np.full(len(on), 10.0), on, step_s=0.01)
    frames = fine[9::10].copy()  # a board that reports every 0.1 s
    frames["seq"] = np.arange(len(frames)) % 2**16
    rig = RIG.replace('rate = "200 L/ha"', f'rate = "{TARGET * 1e7:.6f} L/ha"')
    pipeline = Pipeline(rig_from_toml(rig))
    pipeline.push(frames, [])
    pipeline.finish()
    sums = pipeline.sums()
    return [sums[name] / sums["ground_m2"] for name in ("over_m2", "under_m2", "unknown_m2")]


@pytest.mark.parametrize("off", [-0.06, 0.0, 0.06])
@pytest.mark.parametrize("seconds", [1.2, 2.0])
def test_spots_that_all_lie_in_the_band_are_not_said_to_be_off_it(seconds, off):
    """The band is 10 % to each side. By chance one in forty lies beyond its own 95 %: here 60 spots."""
    over, under, _ = sprayed(seconds, 40 * (1 + off))
    assert over + under <= 0.05


@pytest.mark.parametrize(("seconds", "factor", "side"), [(1.2, 1.5, 0), (2.0, 1.3, 0), (1.2, 0.5, 1), (2.0, 0.7, 1)])
def test_spots_that_are_clearly_off_are_said_to_be(seconds, factor, side):
    assert sprayed(seconds, 40 * factor)[side] > 0.9


def test_how_much_is_not_known_shrinks_with_the_length_of_the_strips():
    unknown = [sprayed(seconds, 40 * 1.03)[2] for seconds in (1.2, 2.0, 4.0)]
    assert unknown[0] > unknown[1] > unknown[2] == 0.0
