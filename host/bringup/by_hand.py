"""The part of bring-up that needs a hand: blow, press, roll, switch, listen."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from firmware_protocol.messages import MEAN_STEPS, Capability, Flag, Identity, Report, outputs_argument
from host.bringup.board_session import Bench
from host.bringup.findings import Finding, Grade
from host.documents.words import percent
from host.frames import counter_difference

_PULSES = 5  # as many show that it was no single knock
_OVER_REST = 3.0  # times what came anyway
_PRESSURE_SHARE = 0.01  # of the supply
_OTHER_WAIT_S = 3.0  # another input has answered: so long the right one may still follow
_TURN_OVER_S = 3.0  # no pulse for so long: the turn is done
_BEEP_TENTHS = 10


@dataclass(frozen=True, slots=True)
class Known:
    """What is known before the steps begin: pulses a second of untouched inputs, magnets of one wheel turn."""

    full_scale: int
    rest_hz: dict[str, float] = field(default_factory=dict)
    per_turn: int | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """Something to do by hand, and how it shows."""

    needs: Capability
    name: str
    ask: str
    advice: str  # if it does not show


STEPS = (
    Step(
        Capability.FLOW,
        "flow meter",
        "Blow through the flow meter in the direction of its arrow.",
        "check the meter's supply, its signal wire and the pull-up",
    ),
    Step(
        Capability.PRESSURE,
        "pressure transducer",
        "Put a little pressure on the transducer: blow into it, or run the pump against closed nozzles.",
        "check its supply and signal wire; at rest it should show about 10 % of the supply",
    ),
    Step(
        Capability.WHEEL,
        "wheel sensor",
        "Roll the wheel a turn or two.",
        "check the gap between sensor and magnets, its supply and the pull-up",
    ),
    Step(Capability.SWITCH, "spray switch", "Work the spray switch once.", "check the two wires of the switch"),
)
_BY_INPUT = {step.needs: step for step in STEPS}
_FIELDS = {Capability.FLOW: "flow_count", Capability.WHEEL: "wheel_count"}


def by_hand(
    bench: Bench,
    identity: Identity,
    wait_s: float,
    say: Callable[[str], None],
    known: Known | None = None,
    again: Callable[[str], bool] = lambda question: False,
) -> Iterator[Finding]:
    """Go through the steps for what is fitted, waiting at most `wait_s` seconds for each; `say` shows a line.

    `again` asks whether a step that failed is tried once more.
    """
    known = known or Known(identity.adc_full_scale)
    proven: set[Capability] = set()  # inputs that have answered to a step of their own
    for step in STEPS:
        if not identity.capabilities & step.needs:
            continue
        while True:
            if step.needs is Capability.WHEEL and known.per_turn:
                finding = _one_turn(bench, step, wait_s, say, known)
            else:
                say(step.ask)
                finding = _watch(bench, step, wait_s, say, known, proven)
            stop = "" if finding.seen.endswith("?") else "."
            if finding.grade is Grade.GOOD or not again(f"{step.name}: {finding.seen}{stop} Try again?"):
                break
        if finding.grade is Grade.GOOD:
            proven.add(step.needs)
        yield finding


def _watch(
    bench: Bench, step: Step, wait_s: float, say: Callable[[str], None], known: Known, proven: set[Capability]
) -> Finding:
    """Wait until the step shows. A rotor that still runs on from a step before does not cut the wait short."""
    end = bench.clock() + wait_s
    first: Report | None = None
    others: set[Capability] = set()
    shown = ""
    while bench.clock() < end:
        for report in _reports(bench):
            if first is None or first.boot != report.boot:
                first = report
            text = _progress(step.needs, first, report, known)
            if text != shown:
                say(f"  {text}")
                shown = text
            answered = {needs for needs in _BY_INPUT if _answers(needs, first, report, known)}
            if step.needs in answered:
                return Finding(Grade.GOOD, step.name, text)
            if answered - proven and not others - proven:
                end = min(end, bench.clock() + _OTHER_WAIT_S)
            others |= answered
    return Finding(Grade.BAD, step.name, _nothing(step, others, wait_s))


def _nothing(step: Step, others: set[Capability], wait_s: float) -> str:
    if others:
        names = " and ".join(_BY_INPUT[needs].name for needs in _BY_INPUT if needs in others)
        return f"the input of the {names} answered instead: are the two wires swapped?"
    return f"nothing seen in {wait_s:.0f} s: {step.advice}"


def _one_turn(bench: Bench, step: Step, wait_s: float, say: Callable[[str], None], known: Known) -> Finding:
    """One slow turn against the number of magnets in the rig file."""
    magnets = known.per_turn or 0
    say(f"Turn the wheel slowly, exactly one turn, then leave it alone. {magnets} pulses should come.")
    end = bench.clock() + wait_s
    first: Report | None = None
    latest = 0
    others: set[Capability] = set()
    still_since = bench.clock()
    while bench.clock() < end and not (latest and bench.clock() - still_since > _TURN_OVER_S):
        for report in _reports(bench):
            if first is None or first.boot != report.boot:
                first, latest = report, 0
            others |= {needs for needs in _BY_INPUT if needs != step.needs and _answers(needs, first, report, known)}
            pulses = counter_difference(report.wheel_count, first.wheel_count)
            if pulses != latest:
                say(f"  {pulses} pulses")
                latest, still_since = pulses, bench.clock()
    if not latest:
        return Finding(Grade.BAD, step.name, _nothing(step, others, wait_s))
    if latest == magnets:
        return Finding(Grade.GOOD, step.name, f"{latest} pulses in one turn, as the rig says")
    why = (
        "the contact bounces (is it a reed? Choose that on the page Rig), or it was more than a turn"
        if latest > magnets
        else "a magnet is too far from the sensor or missing, or it was less than a turn"
    )
    return Finding(Grade.BAD, step.name, f"{latest} pulses in one turn, and the rig says {magnets}: {why}")


def _reports(bench: Bench) -> Iterator[Report]:
    for line in bench.hear():
        if isinstance(line.message, Report):
            yield line.message


def _answers(needs: Capability, first: Report, now: Report, known: Known) -> bool:
    """Whether an input has shown clearly more than it does when nobody touches anything."""
    if name := _FIELDS.get(needs):
        seconds = counter_difference(now.clock, first.clock) / 1e6
        at_rest = known.rest_hz.get(name, 0.0) * seconds
        return int(counter_difference(getattr(now, name), getattr(first, name))) >= _PULSES + _OVER_REST * at_rest
    if needs is Capability.PRESSURE:
        return abs(_pressure_change(first, now)) >= _PRESSURE_SHARE * known.full_scale
    return bool((first.flags ^ now.flags) & Flag.SPRAY)


def _pressure_change(first: Report, now: Report) -> float:
    return (now.pressure_mean - first.pressure_mean) / MEAN_STEPS


def _progress(needs: Capability, first: Report, now: Report, known: Known) -> str:
    if name := _FIELDS.get(needs):
        return f"{counter_difference(getattr(now, name), getattr(first, name))} pulses"
    if needs is Capability.PRESSURE:
        share = now.pressure_mean / MEAN_STEPS / known.full_scale
        change = 100 * _pressure_change(first, now) / known.full_scale
        return f"{percent(share, 1)} of the supply, {change:+.1f} %"
    return "closed" if now.flags & Flag.SPRAY else "open"


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
                yield Finding(
                    Grade.BAD,
                    name,
                    "does not work: check its wires, the transistor and its supply, and that buzzer and light are not "
                    "swapped",
                )
