"""What the alarm did in a run: derived anew at each reading from the faults and from what people tapped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from host.events import ALARM_MUTED, ALARM_SEEN, ALARM_UNMUTED
from host.frames import Event
from host.pipeline import Fault
from host.pipeline.faults.alarm import Alarm, AlarmEvent
from host.pipeline.faults.tuning import TUNING

_AFTER_S = 0.001  # so that rounding does not hide that the time has passed


def alarm_events(faults: Sequence[Fault], events: Sequence[Event]) -> list[AlarmEvent]:
    """Raised, seen, cleared, muted and unmuted, in order of time.

    The alarm of the live page is run through the moments at which anything changed. It goes by the cause as it was
    named in the end; where that was revised, the page may have been louder or quieter for two seconds.
    """
    taps = sorted((h for h in events if h.kind in (ALARM_SEEN, ALARM_MUTED, ALARM_UNMUTED)), key=lambda one: one.host_s)
    moments = {one.host_s for one in taps} | {_heard_s(fault) for fault in faults}
    for fault in faults:
        if fault.ended_s is not None:
            moments |= {fault.ended_s, fault.ended_s + TUNING.alarm_clear_s + _AFTER_S}
    alarm = Alarm()
    for now_s in sorted(moments):
        alarm.push(now_s, [_as_at(fault, now_s) for fault in faults if _matters(fault, now_s)])
        for tap in taps:
            if tap.host_s == now_s:
                alarm.acknowledge(now_s) if tap.kind == ALARM_SEEN else alarm.mute(now_s, tap.kind == ALARM_MUTED)
    return alarm.events


def _heard_s(fault: Fault) -> float:
    """When the alarm heard of it: a provisional one makes no noise."""
    return fault.called_s if fault.heard_s is None else fault.heard_s


def _matters(fault: Fault, now_s: float) -> bool:
    return _heard_s(fault) <= now_s and (
        fault.ended_s is None or now_s <= fault.ended_s + TUNING.alarm_clear_s + 2 * _AFTER_S
    )


def _as_at(fault: Fault, now_s: float) -> Fault:
    return replace(fault, ended_s=None) if fault.ended_s is not None and fault.ended_s > now_s else fault
