"""What holds before a board has said who it is, and before it has said which filters are in force."""

from dataclasses import replace

import numpy as np
import pytest

from host.frames import Event
from host.pipeline import Pipeline, Why, live_row
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames, steady
from tests.host.pipeline.test_refused import REST, SPACING, state

FULL_SCALE = 3600
OWN = replace(IDENTITY, detail=IDENTITY.detail | {"adc_full_scale": FULL_SCALE})
NO_SWITCH = replace(IDENTITY, detail=IDENTITY.detail | {"capabilities": 0x07})
REED = RIG.replace("pulses_per_turn = 10", 'pulses_per_turn = 10\nsensor = "reed"')
METER_REED = RIG.replace('factor = "600 /L"', 'factor = "600 /L"\nsensor = "reed"')


def pulsating(frames):
    """The same with a pressure that is never quite still."""
    noise = np.random.default_rng(1).integers(0, 40, len(frames))
    frames["pressure_mean"] += noise.astype(frames["pressure_mean"].dtype)
    frames["pressure_max"] += 6
    return frames


def at(event, place):
    return replace(event, before_frame=place)


def piped(frames, events, rig=RIG):
    pipeline = Pipeline(rig_from_toml(rig))
    signals = pipeline.push(frames, events)
    pipeline.finish()
    return pipeline, signals


def test_no_pressure_before_the_boards_converter_is_known():
    frames = pulsating(steady(2400, pressure_counts=0.3 * FULL_SCALE))
    pipeline = Pipeline(rig_from_toml(RIG))
    first = pipeline.push(frames[:1200], [])
    assert np.isnan(first.pressure_pa).all() and np.isfinite(first.rate_m3_m2[-1])
    assert not pipeline.inputs.pressure and live_row(pipeline, first)["pressure_pa"] is None
    rest = pipeline.push(frames[1200:], [OWN])
    assert pipeline.inputs.pressure and rest.pressure_pa == pytest.approx(0.25 * 10e5, rel=0.01)
    assert pipeline.faults() == []


def test_without_an_identity_no_fault_is_built_on_an_input_that_may_not_be_there():
    frames = pulsating(made_frames(np.zeros(600), np.full(600, 10.0), np.ones(600, dtype=bool)))
    told, _ = piped(frames, [IDENTITY])
    assert "meter_stuck" in {fault.kind for fault in told.faults()}
    assert piped(frames, [])[0].faults() == []


def test_before_an_identity_a_switch_that_was_never_on_decides_nothing():
    frames = steady(1200, spray=False)
    _, signals = piped(frames, [at(NO_SWITCH, 600)])
    assert signals.spraying[5:].all()
    pipeline, _ = piped(frames, [at(NO_SWITCH, 600)])
    assert pipeline.unassigned == []
    seen = made_frames(np.full(900, 40.0), np.full(900, 10.0), np.repeat([True, False, True], 300))
    assert not piped(seen, [])[1].spraying[320:580].any()


def test_a_reed_measures_nothing_until_the_board_says_that_it_filters():
    bouncing, filtered = state(0.0, wheel=(0, SPACING, 500)), state(60.0, wheel=(9, REST, 8000))
    pipeline, signals = piped(steady(1200), [IDENTITY, bouncing, filtered], REED)
    assert {one.why for one in pipeline.unassigned} == {Why.BOUNCES}
    assert np.isnan(signals.speed_m_s[20:590]).all() and np.isnan(signals.rate_m3_m2[:600]).all()
    assert signals.rate_m3_m2[-1] == pytest.approx(4e-3 / 60 / 2.0, rel=1e-3)
    assert pipeline.sums()["ground_m2"] == pytest.approx(60.0 * 2.0, rel=0.01)
    assert np.isfinite(signals.volume_m3).all() and np.isnan(signals.distance_m[-1])


@pytest.mark.parametrize("events", [[], [IDENTITY], [IDENTITY, state(0.0, wheel=(0, SPACING, 500))]])
def test_a_board_that_never_filters_gives_a_reed_no_ground(events):
    pipeline, signals = piped(pulsating(steady(600)), events, REED)
    assert not pipeline.passes and pipeline.sums()["ground_m2"] == 0.0
    assert not pipeline.inputs.ground and live_row(pipeline, signals)["advice"] == "rate not known"
    assert pipeline.faults() == []


def test_a_reed_in_the_meter_leaves_the_volume_unknown_and_the_switch_says_when_it_sprayed():
    pipeline, signals = piped(steady(600), [IDENTITY], METER_REED)
    assert np.isnan(signals.volume_m3[-1]) and signals.spraying[10:].all() and not pipeline.passes
    assert np.isfinite(signals.distance_m).all()


def test_what_a_reed_counted_at_rest_costs_nothing():
    quiet = made_frames(np.repeat([0.0, 40.0], 300), np.repeat([0.0, 10.0], 300), np.repeat([False, True], 300))
    pipeline, signals = piped(quiet, [IDENTITY, state(20.0, flow=(0, REST, 8000))], METER_REED)
    assert np.isfinite(signals.volume_m3[-1]) and pipeline.unassigned == []


def test_a_restart_takes_the_filter_away_until_the_board_says_it_again():
    first, second = steady(300), steady(300, boot=8)
    second["host_s"] += 30.1
    events = [IDENTITY, state(0.0, wheel=(0, REST, 8000)), at(state(31.0, wheel=(0, REST, 8000), boot=8), 310)]
    pipeline, _ = piped(np.concatenate((first, second)), events, REED)
    assert {one.why for one in pipeline.unassigned} == {Why.RESTART, Why.BOUNCES}
    assert sum(one.seconds for one in pipeline.unassigned if one.why is Why.BOUNCES) < 1.1


def test_that_a_contact_bounces_is_no_fault_of_its_wire():
    refusing = [state(second, wheel=(second * 5, SPACING, 500)) for second in (0, 10, 20)]
    assert piped(steady(300), [IDENTITY, *refusing], REED)[0].refused == []
    assert piped(steady(300), [IDENTITY, *refusing])[0].refused


def test_nothing_said_of_another_start_holds():
    other = Event(0.0, 0, "board_state", state(0.0, wheel=(0, REST, 8000), boot=3).detail)
    assert not piped(steady(300), [IDENTITY, other], REED)[0].passes
