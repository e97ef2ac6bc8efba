"""The part of bring-up that needs a hand: blow, press, roll, switch, listen."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from firmware_protocol.messages import MEAN_STEPS, Capability, Flag, Identity, Report, outputs_argument
from host.bringup.board_session import Bench
from host.bringup.findings import Finding, Grade
from host.frames import counter_difference

_PULSES = 5  # as many show that it was no single knock
_PRESSURE_COUNTS = 10  # of 1023: 1 % of the supply
_BEEP_TENTHS = 10


@dataclass(frozen=True, slots=True)
class Step:
    """Something to do by hand, and how it shows."""

    needs: Capability
    name: str
    ask: str
    progress: Callable[[Report, Report], str]  # from the first report of the step and the newest
    done: Callable[[Report, Report], bool]
    advice: str  # if it does not show


def _pulses(field: str) -> Callable[[Report, Report], int]:
    return lambda first, now: counter_difference(getattr(now, field), getattr(first, field))


def _pressure_change(first: Report, now: Report) -> float:
    return (now.pressure_mean - first.pressure_mean) / MEAN_STEPS


_FLOW, _WHEEL = _pulses("flow_count"), _pulses("wheel_count")

STEPS = (
    Step(
        Capability.FLOW,
        "flow meter",
        "Blow through the flow meter in the direction of its arrow.",
        lambda first, now: f"{_FLOW(first, now)} pulses",
        lambda first, now: _FLOW(first, now) >= _PULSES,
        "check the meter's supply, its signal wire and the pull-up",
    ),
    Step(
        Capability.PRESSURE,
        "pressure transducer",
        "Put a little pressure on the transducer: blow into it, or run the pump against closed nozzles.",
        lambda first, now: f"{now.pressure_mean / MEAN_STEPS:.1f} counts, {_pressure_change(first, now):+.1f}",
        lambda first, now: abs(_pressure_change(first, now)) >= _PRESSURE_COUNTS,
        "check its supply and signal wire; at rest it should show about 10 % of the supply",
    ),
    Step(
        Capability.WHEEL,
        "wheel sensor",
        "Roll the wheel a turn or two.",
        lambda first, now: f"{_WHEEL(first, now)} pulses",
        lambda first, now: _WHEEL(first, now) >= _PULSES,
        "check the gap between sensor and magnets, its supply and the pull-up",
    ),
    Step(
        Capability.SWITCH,
        "spray switch",
        "Work the spray switch once.",
        lambda first, now: "closed" if now.flags & Flag.SPRAY else "open",
        lambda first, now: bool((first.flags ^ now.flags) & Flag.SPRAY),
        "check the two wires of the switch",
    ),
)


def by_hand(bench: Bench, identity: Identity, wait_s: float, say: Callable[[str], None]) -> Iterator[Finding]:
    """Go through the steps for what is fitted, waiting at most `wait_s` seconds for each; `say` shows a line."""
    for step in STEPS:
        if identity.capabilities & step.needs:
            say(step.ask)
            yield _watch(bench, step, wait_s, say)


def _watch(bench: Bench, step: Step, wait_s: float, say: Callable[[str], None]) -> Finding:
    end = bench.clock() + wait_s
    first: Report | None = None
    shown = ""
    while bench.clock() < end:
        for line in bench.hear():
            if not isinstance(line.message, Report):
                continue
            if first is None or first.boot != line.message.boot:
                first = line.message
            text = step.progress(first, line.message)
            if text != shown:
                say(f"  {text}")
                shown = text
            if step.done(first, line.message):
                return Finding(Grade.GOOD, step.name, text)
    return Finding(Grade.BAD, step.name, f"nothing seen in {wait_s:.0f} s: {step.advice}")


def beep(bench: Bench, identity: Identity, heard_it: Callable[[str], bool | None]) -> Iterator[Finding]:
    """Sound the buzzer and light the light; `heard_it` asks the person, and gives None when there is nobody to ask."""
    parts = {
        "buzzer": (Capability.BUZZER, outputs_argument(2, 0, _BEEP_TENTHS), "Did the buzzer sound?"),
        "light": (Capability.LIGHT, outputs_argument(0, 3, _BEEP_TENTHS), "Did the light flash?"),
    }
    for name, (capability, argument, question) in parts.items():
        if not identity.capabilities & capability:
            continue
        bench.ask("o", argument)
        match heard_it(question):
            case None:
                yield Finding(Grade.NOTE, name, "switched on; nobody was asked whether it worked")
            case True:
                yield Finding(Grade.GOOD, name, "works")
            case False:
                yield Finding(Grade.BAD, name, "does not work: check its wires, the transistor and its supply")
