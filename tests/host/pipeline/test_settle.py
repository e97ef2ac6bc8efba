"""What is settled of passes and of what belongs to none, by plain arithmetic over runs made for it."""

import numpy as np
import pytest

from host.frames import Event
from host.pipeline import Pipeline, Why
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames, steady

FLOW_M3_S = 40.0 / 600_000  # 40 Hz at 600 pulses to the litre
NO_SWITCH = RIG.replace("spray_switch = true", "spray_switch = false")


def settled(frames, rig=RIG, events=()):
    pipeline = Pipeline(rig_from_toml(rig))
    pipeline.push(frames, list(events))
    pipeline.finish()
    return pipeline, pipeline.take_settled()


def test_a_pass_after_a_silence_begins_in_the_middle_of_the_first_row_behind_it():
    """Off in the silence, as the missing pulses tell, and on before and after: 0.1 s rows, so it is known to a row; the
    water comes 0.03 s after the switch."""
    on = np.ones(400, dtype=bool)
    on[200:240] = False
    frames = made_frames(np.where(on, 40.0, 0.0), np.full(400, 10.0), on)
    pipeline, _ = settled(np.concatenate((frames[:200], frames[239:])))
    first, second = pipeline.passes
    assert first.end_s == pytest.approx(20.0, abs=0.051)
    assert second.start_s == pytest.approx(24.05 + 0.03, abs=1e-6)
    assert second.volume_m3 == pytest.approx(FLOW_M3_S * (40.0 - second.start_s), rel=0.01)


def test_rows_apart_for_one_reason_are_told_as_one_with_their_sums():
    """Ten rows in a row in which the board dropped pulses: a second, a metre, and what flowed in it."""
    frames = steady(400)
    frames["edges_dropped"] = np.clip(np.arange(400) - 199, 0, 10)
    pipeline, rows = settled(frames)
    (apart,) = pipeline.unassigned
    assert apart.why is Why.DROPPED
    assert (apart.start_s, apart.end_s) == pytest.approx((20.0, 21.0))
    assert apart.seconds == pytest.approx(1.0)
    assert apart.distance_m == pytest.approx(1.0, abs=0.01)
    assert apart.volume_m3 == pytest.approx(FLOW_M3_S, rel=0.03)
    assert apart.distance_m == pytest.approx(rows.unassigned_m.sum())
    assert apart.volume_m3 == pytest.approx(rows.unassigned_m3.sum())


@pytest.mark.parametrize("rig", [RIG, NO_SWITCH], ids=["switch", "no switch"])
def test_a_pass_has_no_row_at_its_ends_in_which_nothing_was_sprayed(rig):
    flow = np.repeat([0.0, 40.0, 0.0, 40.0, 0.0], 100)
    spray = flow > 0
    flow[[200, 400]] = 20.0  # two pulses while the rotor runs down: they are of the pass
    pipeline, rows = settled(made_frames(flow, np.full(500, 10.0), spray), rig)
    assert rows.ground_m3[[200, 400]].tolist() == pytest.approx([2 / 600_000] * 2)
    sprayed = (rows.ground_s > 0) | (rows.ground_m3 > 0)
    assert len(pipeline.passes) == 2
    for one in pipeline.passes:
        mine = np.flatnonzero(rows.pass_number == one.number)
        assert sprayed[mine[0]] and sprayed[mine[-1]]
        assert mine[-1] - mine[0] == len(mine) - 1
        assert rows.ground_m3[mine].sum() == pytest.approx(one.volume_m3)
        assert not sprayed[mine[0] - 20 : mine[0]].any() and not sprayed[mine[-1] + 1 : mine[-1] + 20].any()
    assert set(np.unique(rows.pass_number)) == {0, 1, 2}


@pytest.mark.parametrize("gone", [[20], [5, 12, 30], [20, 21]])
def test_reports_lost_at_one_a_second_cut_no_pass(gone):
    on = np.repeat([False, True, False], [5, 40, 5])
    frames = made_frames(np.where(on, 40.0, 0.0), np.full(50, 10.0), on, step_s=1.0)
    pipeline, _ = settled(np.delete(frames, gone))
    (one,) = pipeline.passes
    assert one.distance_m == pytest.approx(40.0, abs=0.2) and pipeline.unassigned == []
    assert one.volume_m3 == pytest.approx(FLOW_M3_S * 40.0, rel=0.002)


def run_end(at_s):
    return Event(at_s, 10**9, "run_end", {})


def test_what_follows_the_last_report_of_a_pass_is_not_heard():
    pipeline, rows = settled(steady(400), events=[run_end(70.0)])
    (apart,) = pipeline.unassigned
    assert (apart.why, apart.start_s, apart.seconds) == (Why.UNHEARD, pytest.approx(40.0), pytest.approx(30.0))
    assert np.isnan(apart.volume_m3) and len(rows) == 400
    assert settled(steady(400), events=[run_end(42.0)])[0].unassigned == []


def test_in_a_turn_a_pass_may_follow_and_standing_with_all_shut_none_does():
    spray = np.repeat([True, False], [300, 50])
    turning = made_frames(np.where(spray, 40.0, 0.0), np.full(350, 10.0), spray)
    standing = made_frames(np.where(spray, 40.0, 0.0), np.where(spray, 10.0, 0.0), spray)
    assert [one.why for one in settled(turning, events=[run_end(60.0)])[0].unassigned] == [Why.UNHEARD]
    assert settled(turning, events=[run_end(44.0)])[0].unassigned == []
    assert settled(standing, events=[run_end(600.0)])[0].unassigned == []


@pytest.mark.parametrize("phase", [0, 1, 2, 3, 4])
def test_a_stop_is_as_long_as_it_was_with_one_magnet_to_half_a_metre(phase):
    """The wheel rolls on up to half a metre from its last pulse, and as far again to the next: that was walked. Nobody
    stops or sets off at once; up to a quarter of the time of a pulse is taken for that on each side."""
    wheel_hz = np.repeat([2.0, 0.0, 2.0], [100 + phase, 50, 100])
    frames = made_frames(np.full(len(wheel_hz), 40.0), wheel_hz, np.full(len(wheel_hz), True))
    rig = RIG.replace('circumference = "1.0 m"', 'circumference = "5.0 m"')
    assert settled(frames, rig)[1].stationary_s.sum() == pytest.approx(4.75, abs=0.11)


def every(frames, number):
    """Each so many-th of `frames`: a board that reports less often."""
    frames = frames[number - 1 :: number].copy()
    frames["seq"] = np.arange(len(frames))
    return frames


@pytest.mark.parametrize("step_s", [0.05, 0.1, 0.5, 1.0])
@pytest.mark.parametrize(("magnets", "within_s"), [(2, 0.8), (10, 0.3), (100, 0.3)])
@pytest.mark.parametrize("ramp_s", [0.5, 1.0, 1.4, 1.7])
def test_who_slows_down_and_sets_off_again_stood_for_no_longer_than_he_did(ramp_s, magnets, within_s, step_s):
    """Even slowing down: v falls to nothing along a line, x = a·t²/2 (kinematics), and rises again after 6 s."""
    ramp = (np.arange(round(ramp_s / 0.05)) + 0.5) * 0.05 / ramp_s
    parts = (np.ones(240), ramp[::-1], np.zeros(120), ramp, np.ones(180))
    wheel_hz = np.concatenate(parts) * magnets
    rig = RIG.replace("pulses_per_turn = 10", f"pulses_per_turn = {magnets}")
    frames = made_frames(np.full(len(wheel_hz), 40.0), wheel_hz, np.full(len(wheel_hz), True), step_s=0.05)
    pipeline, rows = settled(every(frames, round(step_s / 0.05)), rig)
    # After 1.5 s a walker is taken to be at his pace: who is not is further off, and still inside the ±.
    assert rows.stationary_s.sum() == pytest.approx(6.0, abs=within_s + 0.3 * (ramp_s > 1.5))
    assert abs(rows.stationary_m3.sum() - 6.0 * FLOW_M3_S) <= 2 * pipeline.passes[0].stops_u_m3


def test_a_stop_between_two_reports_is_half_stood_and_its_doubt_says_so():
    """It stands for 1.2 s, with pulses in the report before and in the one after: slow walking gives the same."""
    wheel_hz = np.full(600, 10.0)
    wheel_hz[288:312] = 0.0  # from 14.4 to 15.6 s
    frames = every(made_frames(np.full(600, 40.0), wheel_hz, np.full(600, True), step_s=0.05), 20)
    pipeline, rows = settled(frames)
    (one,) = pipeline.passes
    assert abs(rows.stationary_m3.sum() - 1.2 * FLOW_M3_S) <= 2 * one.stops_u_m3 < 1.6 * FLOW_M3_S


def test_a_long_silence_begins_when_the_last_report_came_also_by_a_clock_that_is_off():
    on = np.repeat([True, False, True], [220, 4560, 220])
    frames = made_frames(np.where(on, 40.0, 0.0), np.full(5000, 10.0), on, clock_error=0.005)
    (apart,) = settled(np.concatenate((frames[:200], frames[4799:])))[0].unassigned
    assert (apart.why, apart.start_s, apart.end_s) == (Why.SILENCE, pytest.approx(20.0, abs=0.2), pytest.approx(480.0))


def test_one_magnet_and_setting_off_with_the_spray_is_no_standing_still():
    """A pulse every 1.4 m: the way to the first of them was walked, and its water lies on it."""
    rig = rig_from_toml(RIG.replace('"1.0 m"', '"1.4 m"').replace("pulses_per_turn = 10", "pulses_per_turn = 1"))
    walks = np.concatenate([np.zeros(30), np.full(250, 1.2 / 1.4), np.zeros(60)])
    sprays = walks > 0
    pipeline = Pipeline(rig)
    pipeline.push(made_frames(np.where(sprays, 40.0, 0.0), walks, sprays), [IDENTITY])
    pipeline.finish()
    (one,) = pipeline.passes
    assert one.distance_m == pytest.approx(25.0 * 1.2, abs=0.75)  # to half a pulse
    assert pipeline.sums()["stationary_m3"] == pytest.approx(0.0, abs=40 * 0.2 / 600e3)


def test_a_wheel_that_failed_says_nothing_of_the_pace_before():
    rig = rig_from_toml(RIG.replace('"1.0 m"', '"1.4 m"').replace("pulses_per_turn = 10", "pulses_per_turn = 1"))
    walks = np.concatenate([np.zeros(30), np.full(150, 1.2 / 1.4), np.zeros(250)])
    sprays = np.arange(430) >= 30
    pipeline = Pipeline(rig)
    pipeline.push(made_frames(np.where(sprays, 40.0, 0.0), walks, sprays), [IDENTITY])
    pipeline.finish()
    assert pipeline.passes[0].distance_m == pytest.approx(15.0 * 1.2, abs=1.4)


@pytest.mark.parametrize(("circumference", "pace"), [(2.0, 1.0), (2.1, 1.4), (2.1, 0.6), (1.5, 0.6), (1.2, 0.5)])
def test_a_large_wheel_with_one_magnet_turns_although_its_pulses_are_seconds_apart(circumference, pace):
    """A bicycle's wheel is 2.1 m round (common practice): at a walk a pulse comes every two seconds or so."""
    rig = RIG.replace('"1.0 m"', f'"{circumference} m"').replace("pulses_per_turn = 10", "pulses_per_turn = 1")
    one, turn = round(300 / pace), 60
    hz = np.concatenate([np.full(one, pace / circumference), np.full(turn, 0.5 / circumference)] * 3)
    on = np.tile(np.concatenate([np.ones(one, dtype=bool), np.zeros(turn, dtype=bool)]), 3)
    pipeline, _ = settled(made_frames(np.where(on, 40.0, 0.0), hz, on), rig)
    assert len(pipeline.passes) == 3
    assert pipeline.sums()["ground_m2"] == pytest.approx(180.0, rel=0.02)
    assert pipeline.sums()["stationary_s"] < 1.0 and pipeline.unassigned == []
    assert not any(fault.kind == "standing" for fault in pipeline.faults())


def test_a_stop_shows_at_a_large_wheel_with_one_magnet_once_a_second_pulse_has_not_come():
    rig = RIG.replace('"1.0 m"', '"2.0 m"').replace("pulses_per_turn = 10", "pulses_per_turn = 1")
    hz = np.concatenate([np.full(300, 0.5), np.zeros(100), np.full(300, 0.5)])
    pipeline, _ = settled(made_frames(np.full(700, 40.0), hz, np.ones(700, dtype=bool)), rig)
    assert pipeline.sums()["stationary_s"] == pytest.approx(10.0, abs=2.1)  # a pulse of the wheel is 2 s


def test_a_spot_sprayed_from_a_stand_puts_nothing_on_ground_that_was_walked():
    """The rotor runs on for three reports after the spray is shut; then somebody walks on."""
    stands, walks = np.zeros(40), np.full(30, 10.0)
    on = np.r_[np.zeros(10), np.ones(20), np.zeros(10)].astype(bool)
    flow = np.r_[np.zeros(10), np.full(23, 40.0), np.zeros(7)]
    wheel, spray, hz = (np.tile(np.r_[a, b], 4) for a, b in ((stands, walks), (on, walks < 0), (flow, walks * 0)))
    pipeline, _ = settled(made_frames(hz, wheel, spray))
    sums = pipeline.sums()
    assert pipeline.passes == [] and sums["ground_m3"] == pytest.approx(0.0, abs=1 / 600e3)
    assert sums["stationary_m3"] == pytest.approx(4 * 2.3 * 40 / 600e3, rel=0.03)
