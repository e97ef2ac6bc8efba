"""What the signals say of runs whose truth is known by construction."""

import numpy as np
import pytest

from host.frames import Event
from host.pipeline import Pipeline, live_row
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames, steady

PULSES_PER_M3 = 600_000
METRES_PER_PULSE = 0.1
SWATH_M = 2.0


def run(frames, rig=RIG, events=(IDENTITY,)):
    pipeline = Pipeline(rig_from_toml(rig))
    signals = pipeline.push(frames, list(events))
    pipeline.finish()
    return pipeline, signals


def test_rate_of_a_steady_pass():
    # Extension formula: L/ha = 60,000 x L/min / (km/h x cm), width in cm. 40 Hz at 600 pulses/L is 4 L/min, 10 Hz at
    # 0.1 m is 3.6 km/h, swath 200 cm: 333.33 L/ha. (Exact identity behind the 5940 GPM/(mph in) of US bulletins.)
    _, signals = run(steady(300))
    litres_per_ha = 60_000 * 4.0 / (3.6 * 200)
    np.testing.assert_allclose(signals.rate_m3_m2[50:] * 1e7, litres_per_ha, rtol=1e-4)


@pytest.mark.parametrize("error", [-0.005, 0.005])
def test_rate_per_area_needs_no_clock_but_flow_and_speed_do(error):
    pipeline, signals = run(steady(3000, clock_error=error))
    assert signals.rate_m3_m2[-1] == pytest.approx(4e-3 / 60 / (1.0 * SWATH_M), rel=2e-5)
    assert signals.flow_m3_s[-1] == pytest.approx(4e-3 / 60, rel=1e-4)
    assert signals.speed_m_s[-1] == pytest.approx(1.0, rel=1e-4)
    assert pipeline.sums()["ground_s"] == pytest.approx(299.9, rel=1e-4)


def test_volume_and_distance_are_the_counts():
    frames = steady(600)
    _, signals = run(frames)
    pulses = int(frames["flow_count"][-1]) - int(frames["flow_count"][0])
    turns = int(frames["wheel_count"][-1]) - int(frames["wheel_count"][0])
    assert signals.volume_m3[-1] == pytest.approx(pulses / PULSES_PER_M3, rel=1e-12)
    assert signals.distance_m[-1] == pytest.approx(turns * METRES_PER_PULSE, rel=1e-12)


def three_parts(spray_flow_hz=40.0):
    """20 s of spraying on the move, 20 s of walking with the valve shut, 10 s of spraying on the spot."""
    flow = np.repeat([spray_flow_hz, 0.0, spray_flow_hz], [200, 200, 100])
    wheel = np.repeat([10.0, 10.0, 0.0], [200, 200, 100])
    return made_frames(flow, wheel, flow > 0)


def test_area_grows_only_while_spraying():
    pipeline, signals = run(three_parts())
    assert signals.distance_m[-1] == pytest.approx(40.0, abs=0.2)
    assert pipeline.sums()["ground_m2"] == pytest.approx(20.0 * SWATH_M, abs=0.3)


def test_spraying_on_the_spot_is_its_own_sum():
    pipeline, _ = run(three_parts())
    assert pipeline.sums()["stationary_s"] == pytest.approx(10.0, abs=0.2)
    assert pipeline.sums()["stationary_m3"] == pytest.approx(10 * 40 / PULSES_PER_M3, rel=0.02)
    assert [p.number for p in pipeline.passes] == [1]
    assert pipeline.passes[0].volume_m3 == pytest.approx(20 * 40 / PULSES_PER_M3, rel=0.01)


def test_passes_bridge_short_gaps_and_end_at_long_ones():
    spray = np.concatenate([np.ones(150), np.zeros(10), np.ones(150), np.zeros(40), np.ones(200), np.zeros(50)])
    frames = made_frames(40.0 * spray, np.full(len(spray), 10.0), spray)
    pipeline, signals = run(frames)
    assert [p.number for p in pipeline.passes] == [1, 2]
    first, second = pipeline.passes
    assert first.distance_m == pytest.approx(30.0, abs=0.2)  # the one-second gap is walked, but not sprayed
    assert first.area_m2 == pytest.approx(30.0 * SWATH_M, abs=0.4)
    assert first.rate_m3_m2 == pytest.approx(4e-3 / 60 / SWATH_M, rel=0.01)
    assert first.pressure_pa == pytest.approx((327.68 / 1023 - 0.1) / 0.8 * 10e5, rel=1e-3)
    assert second.distance_m == pytest.approx(20.0, abs=0.2)
    assert signals.pass_number.tolist() == sorted(signals.pass_number.tolist())


def test_standing_with_the_spray_on_does_not_end_a_pass():
    wheel = np.repeat([10.0, 0.0, 10.0], [150, 60, 150])
    pipeline, _ = run(made_frames(np.full(360, 40.0), wheel, np.ones(360)))
    assert [p.number for p in pipeline.passes] == [1]
    assert pipeline.passes[0].area_m2 == pytest.approx(30.0 * SWATH_M, abs=0.4)
    assert pipeline.passes[0].rate_m3_m2 == pytest.approx(4e-3 / 60 / SWATH_M, rel=0.03)


def test_a_dribble_is_no_pass():
    spray = np.concatenate([np.zeros(50), np.ones(12), np.zeros(100)])
    pipeline, signals = run(made_frames(40.0 * spray, np.full(len(spray), 10.0), spray))
    assert pipeline.passes == []
    assert signals.pass_number[-1] == 0


def test_time_off_target():
    # Target 200 L/ha with a band of 10 %; at 24 Hz and 10 Hz the rate is 200, at 30 Hz 250.
    flow = np.repeat([24.0, 30.0], 300)
    pipeline, signals = run(made_frames(flow, np.full(600, 10.0), np.ones(600)))
    assert not signals.off_target[:300].any()
    assert signals.off_target[300:].sum() * 0.1 == pytest.approx(30.0, abs=2.0)  # a two-second window has to fill first
    sums = pipeline.sums()
    assert sums["off_target_s"] == pytest.approx(30.0, abs=2.0)
    assert sums["over_m2"] + sums["under_m2"] == pytest.approx(sums["off_target_s"] * SWATH_M, rel=0.01)


def test_pace_wanted_brings_the_rate_to_the_target():
    _, signals = run(steady(300))
    pace = signals.pace_wanted_m_s[-1]
    assert signals.flow_m3_s[-1] / (pace * SWATH_M) == pytest.approx(200 * 1e-7, rel=1e-4)


def test_tank_counts_down_and_takes_refills():
    frames = steady(601)  # 40 L in 10 minutes is 4 L/min: here one minute, 4 L
    start = Event(0.0, 0, "run_start", {"tank_m3": 0.030})
    _, signals = run(frames, events=[start, Event(30.0, 300, "refill", {"to_m3": 0.050})])
    assert signals.tank_left_m3[299] == pytest.approx(0.030 - 299 * 4 / PULSES_PER_M3, abs=1e-5)
    assert signals.tank_left_m3[-1] == pytest.approx(0.050 - 301 * 4 / PULSES_PER_M3, abs=1e-5)
    assert signals.tank_covers_m2 == pytest.approx(signals.tank_left_m3 / 200e-7), "before there is a rate, too"
    assert np.isnan(signals.rate_m3_m2[0])


def test_a_tank_that_is_counted_empty_covers_nothing():
    _, signals = run(steady(100), events=[Event(0.0, 0, "run_start", {"tank_m3": 0.0002})])
    assert signals.tank_left_m3[-1] < 0
    assert signals.tank_covers_m2[-1] == 0


@pytest.mark.parametrize(("counts", "live"), [(10, False), (102.3, True), (920.7, True), (1010, False)])
def test_an_open_or_shorted_transducer_gives_no_pressure(counts, live):
    # 0.5 to 4.5 V of a 5 V supply is live, common practice for ratiometric transducers.
    _, signals = run(steady(20, pressure_counts=counts))
    assert np.isfinite(signals.pressure_pa[-1]) == live


def test_the_boards_own_full_scale_is_used():
    frames = steady(20, pressure_counts=2047.5)
    _, signals = run(frames, events=[Event(0.0, 0, "identity", IDENTITY.detail | {"adc_full_scale": 4095})])
    assert signals.pressure_pa[-1] == pytest.approx(5e5, rel=1e-4)


def test_without_a_wheel_the_timed_speed_holds_while_spraying():
    rig = RIG.replace(
        '[wheel]\ncircumference = "1.0 m"\npulses_per_turn = 10\n', '[course]\ndistance = "100 m"\ntime = "80 s"\n'
    )
    pipeline, _ = run(three_parts(), rig)
    assert pipeline.sums()["ground_m2"] == pytest.approx(30 * 1.25 * SWATH_M, rel=0.01)
    assert pipeline.sums()["stationary_s"] == 0


@pytest.mark.parametrize(
    ("flow_hz", "wheel_hz", "spray", "words"),
    [
        (24.0, 10.0, True, "on target"),
        (24.0, 8.0, True, "walk faster"),
        (24.0, 12.5, True, "slow down"),
        (0.0, 10.0, False, "not spraying"),
        (24.0, 0.0, True, "standing still: stop spraying"),
    ],
)
def test_the_words_on_the_live_page(flow_hz, wheel_hz, spray, words):
    pipeline, signals = run(steady(100, flow_hz=flow_hz, wheel_hz=wheel_hz, spray=spray))
    assert live_row(pipeline, signals)["advice"] == words


def test_too_early_for_a_rate():
    pipeline, signals = run(steady(5))
    row = live_row(pipeline, signals)
    assert row["advice"] == "wait for rate"
    assert row["rate_m3_m2"] is None


def test_the_rates_uncertainty_covers_its_error():
    # 40 passes on a meter whose factor is off by what its stated standard uncertainty makes likely: about two thirds
    # of rates should lie within one standard uncertainty, nearly all within two (JCGM 100, normal distribution).
    rng = np.random.default_rng(2)
    within = []
    for _ in range(40):
        meter, wheel = rng.normal(1, 0.01), rng.normal(1, 0.005)
        _, signals = run(steady(60, flow_hz=40.0 * meter, wheel_hz=10.0 * wheel))
        error = signals.rate_m3_m2[-1] - 4e-3 / 60 / SWATH_M
        within.append(abs(error) / signals.rate_u_m3_m2[-1])
    within = np.array(within)
    assert 0.5 < (within < 1).mean() < 0.95
    assert (within < 2).mean() >= 0.9


def uneven(rng, frames, name, hz, poles, place_sd):
    """Give `frames` the edges of a rotor or wheel at a steady `hz`, its `poles` out of place (sd, of their pitch)."""
    time_s = frames["host_s"]
    numbers = np.arange(int(hz * time_s[-1]) + 20)
    edges = np.sort(numbers + rng.uniform() + np.resize(rng.normal(0.0, place_sd, poles), len(numbers))) / hz
    count = np.searchsorted(edges, time_s, side="right")
    frames[f"{name}_count"] = count
    frames[f"{name}_edge"] = np.where(count > 0, np.rint(edges[np.maximum(count - 1, 0)] * 1e6), 0)


def test_the_uncertainty_of_a_pulse_reading_covers_uneven_poles():
    """With exact calibrations only the readings are left: poles and magnets 10 % of their pitch out of place.

    Errors over stated standard uncertainties would have a root mean square of 1 (JCGM 100, E.4); stated too small by a
    half it would be above 1.3, and too large to be of use below 0.4.
    """
    text = RIG.replace('"1 %"', '"0.001 %"').replace('"0.5 %"', '"0.001 %"').replace("600 /L", "60 /L")
    rig = rig_from_toml(text.replace("pulses_per_turn = 10", "pulses_per_turn = 5"))
    rng = np.random.default_rng(1)
    shares = []
    for _ in range(60):
        flow_hz, wheel_hz = rng.uniform(5, 9), rng.uniform(3, 6)
        frames = steady(200, flow_hz=flow_hz, wheel_hz=wheel_hz)
        uneven(rng, frames, "flow", flow_hz, 6, 0.1)
        uneven(rng, frames, "wheel", wheel_hz, 5, 0.1)
        signals = Pipeline(rig, watch_faults=False).push(frames, [])
        true = flow_hz / 60e3 / (wheel_hz / 5 * SWATH_M)
        shares.append(((signals.rate_m3_m2 - true) / signals.rate_u_m3_m2)[50::25])
    assert 0.4 < np.sqrt(np.mean(np.square(shares))) < 1.0
    assert np.mean(np.abs(shares) < 2) >= 0.95
