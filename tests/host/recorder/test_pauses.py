from host.recorder.pauses import LONGEST_STEP_S, SAID_FOR_S, PauseWatch
from tests.host.journal.file_systems import HandClock


def test_only_what_is_longer_than_a_step_is_a_pause() -> None:
    clock = HandClock()
    watch = PauseWatch(clock)
    for step, paused in ((0.25, 0.0), (LONGEST_STEP_S, 0.0), (30.0, 30.0), (0.25, 0.0)):
        clock.now += step
        assert watch.look() == paused


def test_a_pause_is_said_for_ten_minutes() -> None:
    clock = HandClock()
    watch = PauseWatch(clock)
    clock.now += 61.0
    watch.look()
    assert watch.said == "The computer slept for 61 s. Nothing was recorded meanwhile."
    for _ in range(int(SAID_FOR_S)):
        clock.now += 1.0
        watch.look()
        assert watch.said
    clock.now += 1.0
    watch.look()
    assert watch.said == ""
