"""The alarm's states: raised once, quiet when seen or muted, over when the fault has been gone for a while."""

from dataclasses import replace

from host.pipeline.faults import Alarm, Fault
from host.pipeline.faults.tuning import TUNING

CLOG = Fault(1, "clog", (), 0.9, 10.0, 10.3, None, -0.25, 0.01, 1.0, 0.04, 3.0, True)
WEAR = replace(CLOG, number=2, kind="wear")
OVER = replace(CLOG, ended_s=20.0)


def whats(events):
    return [(event.what, event.number) for event in events]


def test_an_urgent_fault_raises_it_once():
    alarm = Alarm()
    assert whats(alarm.push(10.3, [CLOG])) == [("raised", 1)]
    assert alarm.sounding
    assert alarm.push(10.4, [CLOG]) == []


def test_a_fault_that_can_wait_makes_no_noise():
    alarm = Alarm()
    assert alarm.push(1.0, [WEAR]) == []
    assert not alarm.sounding
    assert alarm.standing == []


def test_seen_is_quiet_for_this_fault_and_not_for_the_next():
    alarm = Alarm()
    alarm.push(10.3, [CLOG])
    assert whats(alarm.acknowledge(11.0)) == [("seen", 1)]
    assert not alarm.sounding
    assert alarm.standing == [1]
    alarm.push(12.0, [CLOG, replace(CLOG, number=3)])
    assert alarm.sounding


def test_muted_stays_quiet_and_unmuted_is_heard_again():
    alarm = Alarm()
    assert whats(alarm.mute(9.0, True)) == [("muted", 0)]
    alarm.push(10.3, [CLOG])
    assert not alarm.sounding
    assert alarm.standing == [1]
    assert alarm.mute(10.5, True) == []
    alarm.mute(11.0, False)
    assert alarm.sounding


def test_it_clears_by_itself_only_after_the_fault_has_been_gone():
    alarm = Alarm()
    alarm.push(10.3, [CLOG])
    assert alarm.push(20.0, [OVER]) == []
    assert alarm.push(20.0 + TUNING.alarm_clear_s - 0.1, [OVER]) == []
    assert alarm.standing == [1]
    assert whats(alarm.push(20.0 + TUNING.alarm_clear_s, [OVER])) == [("cleared", 1)]
    assert not alarm.sounding
    assert whats(alarm.events) == [("raised", 1), ("cleared", 1)]


def test_a_flicker_neither_clears_nor_raises():
    alarm = Alarm()
    alarm.push(10.0, [CLOG])
    alarm.acknowledge(10.5)
    alarm.push(20.0, [OVER])
    alarm.push(21.0, [CLOG])
    assert alarm.push(21.0 + TUNING.alarm_clear_s, [CLOG]) == []
    assert not alarm.sounding
