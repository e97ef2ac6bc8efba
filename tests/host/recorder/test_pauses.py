from host.recorder.pauses import LONGEST_STEP_S, PauseWatch
from tests.host.journal.file_systems import HandClock


def test_only_what_is_longer_than_a_step_is_a_pause() -> None:
    clock = HandClock()
    watch = PauseWatch(clock)
    for step, paused in ((0.25, 0.0), (LONGEST_STEP_S, 0.0), (30.0, 30.0), (0.25, 0.0)):
        clock.now += step
        assert watch.look() == paused
