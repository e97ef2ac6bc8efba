"""What a run says of its transducer, against a run made by the law of the root: Q = k·√P (Bernoulli)."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from host.review.track import Track
from host.review.transducer_check import error_by_two_pressures, reading_at_rest_pa, swapped_wires
from host.simulate.scenario import load_scenario
from host.units import PSI_PA

RIG = load_scenario("demo").rig
PASS_S = 30.0


def made(pressures_psi, error_psi, rest_s=10.0, rest_psi=0.0):
    """A run at rest first, then a pass at each pressure; the transducer reads `error_psi` too much throughout."""
    time_s = np.arange(0.0, rest_s + PASS_S * len(pressures_psi), 0.1)
    at = np.floor((time_s - rest_s) / PASS_S).astype(int)
    true = np.where(time_s < rest_s, rest_psi, np.array(pressures_psi)[at.clip(0)]) * PSI_PA
    flow = np.where(time_s < rest_s, 0.0, 1e-7 * np.sqrt(true))
    none = np.zeros_like(time_s)
    spraying = time_s >= rest_s
    track = Track(time_s, time_s, none, flow, true + error_psi * PSI_PA, spraying, spraying, none, none, none, none)
    begins = rest_s + PASS_S * np.arange(len(pressures_psi))
    return track, [SimpleNamespace(start_s=begin, end_s=begin + PASS_S - 0.1) for begin in begins]


@pytest.mark.parametrize("error_psi", [-2.0, 0.0, 1.5])
def test_two_pressures_give_the_error_away(error_psi):
    track, passes = made([25, 45, 25, 45], error_psi)
    error, u = error_by_two_pressures(track, passes, RIG)
    # ln(1 - e/P) = -e/P - (e/P)²/2: the second term is left out, so to a part in ten.
    assert error == pytest.approx(error_psi * PSI_PA, abs=0.1 * abs(error_psi) * PSI_PA + 1.0)
    assert 0 < u < 1.0 * PSI_PA


def test_one_pressure_or_few_passes_give_nothing_away():
    assert error_by_two_pressures(*made([38, 38, 38, 38], 1.5), RIG) is None
    assert error_by_two_pressures(*made([25, 45], 1.5), RIG) is None


def test_the_reading_at_rest_is_that_before_anything_flows():
    track, _ = made([38], 1.5)
    assert reading_at_rest_pa(track, 38 * PSI_PA) == pytest.approx(1.5 * PSI_PA)
    running, _ = made([38], 1.5, rest_psi=60.0)  # against the closed valve
    assert reading_at_rest_pa(running, 38 * PSI_PA) is None
    at_once, _ = made([38], 1.5, rest_s=1.0)
    assert reading_at_rest_pa(at_once, 38 * PSI_PA) is None


@pytest.mark.parametrize(("swapped", "rest_psi"), [(False, 0.0), (False, 60.0), (True, 0.0)])
def test_swapped_wires_show_at_rest(swapped, rest_psi):
    """0.5 to 4.5 V of 5 V (common practice): seen from the other end, no pressure is 4.5 V, and more is less."""
    track, passes = made([38, 38], 0.0, rest_psi=rest_psi)
    sensor = RIG.pressure
    if swapped:
        track = replace(track, pressure_pa=sensor.low_pa + sensor.high_pa - track.pressure_pa)
    means = [float(np.mean(track.pressure_pa[track.between(one.start_s, one.end_s)])) for one in passes]
    said = swapped_wires(track, [SimpleNamespace(pressure_pa=mean) for mean in means], RIG)
    assert ("its wires are swapped" in said) == swapped
