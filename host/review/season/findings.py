"""What a season's changes are called, and the message that each of them is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from host.documents.document import quantity
from host.documents.words import percent
from host.review.digest import Digest
from host.review.season.changes import LONE_BOOM, LONE_TANK, METER, STRAINER, TANK, WHEEL, ZERO, Change, shapes
from host.review.season.effects import Effect, of_flow
from host.review.season.observations import BOOM
from host.review.season.search import Explained
from host.review.season.weighing import Weighed, weigh

WEAR, CLOGGING, METER_STEP, METER_DRIFT = "nozzles wear", "nozzles clog", "meter changed", "meter drifts"
NOZZLE_STEP, NOZZLE_WHILE = "nozzles changed", "nozzles changed for some runs"
FILLED, CLEANED = "tips or their strainers filled up", "cleaned"
ZERO_STEP, ZERO_DRIFT = "transducer's zero moved", "transducer's zero drifts"
STRAINER_FILLED, TANK_ONLY = "strainer filled", "tank balance changed"
WHEEL_CHANGED = "wheel changed"
LONE_RUN, LONE_BALANCE = "one run stands out", "one tank balance stands out"

EXPANDED = 2.0  # coverage factor of what is shown
_LEAST_DRIFT = 0.003  # less matters to nobody, however surely it is there
_LEAST_WHEEL = 0.01  # how far a hand lays its passes otherwise
_PRESSURE_DOWN = 0.05  # a fall by less is no filling strainer
_LONE_BOOM, _LONE_TANK = 0.02, 0.05  # a single run that stands out by less is scatter
_LONE_SURE = 5.0  # standard uncertainties
_SHOWS = 0.1  # of what a change comes to
_REFILL = 1.3  # metered over drawn: more is a refill that nobody recorded
_REASONS = {"clog": "a clog", "air": "air in the suction", "leak": "a leak", "lost_tip": "a lost tip"}
_OF_NOZZLES = {"clog", "leak", "lost_tip"}


@dataclass(frozen=True)
class Finding:
    """One change: its kind, the days it spans (equal for a step), its size as a fraction and standard uncertainty.

    `suspects` are the causes that cannot be told apart, `shown` the series that show it (coefficient, balance,
    pressure, pass_length). `started` names a lone run; `missing_m3` is what a refill that nobody recorded would have
    been, `zero_pa` how far a transducer's zero moved, with its standard uncertainty.
    """

    kind: str
    first_day: str
    last_day: str
    change: float
    change_u: float
    sentence: str
    suspects: tuple[str, ...] = ()
    shown: tuple[str, ...] = ("coefficient",)
    started: str = ""
    missing_m3: float | None = None
    zero_pa: tuple[float, float] | None = None


@dataclass(frozen=True)
class Named:
    """An effect, the runs it begins and ends with, and whose it is."""

    effect: Effect
    first: Digest
    last: Digest
    weighed: Weighed | None = None


def named(found: Explained, effects: Sequence[Effect], runs: Sequence[Digest]) -> list[Named]:
    """The effects with their causes weighed; `runs` are the observations' own."""
    at_item = [None if at is None else runs[at] for at in found.seen.runs]
    faults = [bool(run and _OF_NOZZLES & set(run.fault_kinds)) for run in at_item]
    out = []
    weighed: dict[Change, Weighed] = {}
    for effect in effects:
        first = next((run for run in at_item[_shows_from(found, effect.change) :] if run), None)
        until = effect.change.first if effect.change.step or effect.change.lone else effect.change.last
        last = next((run for run in reversed(at_item[: until + 1]) if run), None)
        if first is None:
            continue
        if effect.change.lone or effect.change.cause == WHEEL:
            out.append(Named(effect, first, last or first))
            continue
        if effect.of not in weighed:
            weighed[effect.of] = weigh(found, effect.of, of_flow(found, effect)[0], faults)
        spans = not (effect.change.step or effect.change.lone)
        out.append(Named(effect, first, last if spans and last else first, weighed[effect.of]))
    return out


def _shows_from(found: Explained, change: Change) -> int:
    """The item from which a change shows: what comes ever faster hardly does so where it begins."""
    if change.power < 2:
        return change.first
    return int(np.argmax(shapes([change], found.seen.in_use)[:, 0] >= _SHOWS))


def boom_findings(found: Explained, changes: Sequence[Named]) -> list[Finding]:
    """A finding for each change but those too small to matter; one whose boom stands out is not told for its tank."""
    out = []
    told = {one.first.started for one in changes if one.effect.change.cause == LONE_BOOM and _stands_out(one.effect)}
    for one in changes:
        cause = one.effect.change.cause
        if cause == LONE_BOOM and _stands_out(one.effect):
            out.append(_lone_run(one))
        elif cause == LONE_TANK and _stands_out(one.effect) and one.first.started not in told:
            out.append(_lone_balance(one))
        elif not one.effect.change.lone and abs(of_flow(found, one.effect)[0]) >= _LEAST_DRIFT:
            out.append(_change(found, one))
    return out


def _stands_out(effect: Effect) -> bool:
    least = _LONE_TANK if effect.change.cause == LONE_TANK else _LONE_BOOM
    return abs(effect.size) >= max(least, _LONE_SURE * effect.u)


def _change(found: Explained, one: Named) -> Finding:
    effect, weighed = one.effect, one.weighed
    assert weighed is not None
    size, u = of_flow(found, effect)
    change = effect.change
    suspects = weighed.suspects
    if TANK in suspects and len(suspects) == 1:
        words = f"{_since(one)} the meter reads {_amount(size, u)} {'more' if size > 0 else 'less'} against the tank"
        if found.seen.count(BOOM):
            words += ", though flow at the same pressure does not show it: look at how the tank is read, or for meter "
            words += "and nozzles changing against each other"
        else:
            words += ": the meter has changed, or how the tank is read; calibrating the meter would decide"
        shown: tuple[str, ...] = ("balance",)
        return Finding(TANK_ONLY, one.first.date, one.last.date, *_fraction(size, u), words, suspects, shown)
    kind, told = _named(found, one, suspects) if len(suspects) == 1 else _unclear(change, weighed)
    shown = ("coefficient", "balance") if suspects == (METER,) else ("coefficient",)
    words = f"{_since(one)} flow at the same pressure {_moved(change, size, u)}; {told}"
    moved = _zero_pa(found, effect) if change.cause == ZERO else None
    days = one.first.date, one.last.date
    return Finding(kind, *days, *_fraction(size, u), words, suspects, shown, zero_pa=moved)


def _zero_pa(found: Explained, effect: Effect) -> tuple[float, float]:
    """How far a zero moved, and u: the next term of ln(1 - error/P) that the model leaves out, put back."""
    shrunk = 1.0 + of_flow(found, effect)[0]
    return 1e3 * effect.size * shrunk, 1e3 * effect.u


def _since(one: Named) -> str:
    change = one.effect.change
    return f"from {one.first.date} on" if change.step else f"from {one.first.date} to {one.last.date}"


def _moved(change: Change, size: float, u: float) -> str:
    if change.power:
        return f"{'rose' if size > 0 else 'fell'} by {_amount(size, u)} little by little"
    higher = "higher" if size > 0 else "lower"
    return f"reads {_amount(size, u)} {higher}" + (", and then was back" if change.back else "")


def _named(found: Explained, one: Named, suspects: Sequence[str]) -> tuple[str, str]:
    """Kind and message of a change whose cause is named."""
    assert one.weighed is not None
    effect, odds = one.effect, f"odds {one.weighed.odds_text}"
    change, rises = effect.change, effect.size > 0
    if suspects[0] == METER:
        return (METER_DRIFT if change.power else METER_STEP), f"it is the meter ({odds}): calibrate it"
    if suspects[0] == ZERO:
        by = ""
        if change.cause == ZERO:
            moved, u = _zero_pa(found, effect)
            zero = quantity(abs(moved), "pressure", one.first.units, expanded_si=EXPANDED * u)
            by = f", which reads {zero.text} {'more' if moved > 0 else 'less'} than before"
        words = f"it is the transducer ({odds}){by}: with the pressure let off look whether it reads zero"
        return (ZERO_DRIFT if change.power else ZERO_STEP), words
    if effect.of.power and effect.of.back:
        if change.step:
            return (NOZZLE_STEP, f"new tips ({odds})") if not rises else (CLEANED, f"cleaned, or changed ({odds})")
        if not rises:
            words = "tips, their strainers, or a strainer behind the transducer filled up"
            return FILLED, f"{words} ({odds})"
    if change.power:
        told = "they wear" if rises else "they, or a strainer behind the transducer, fill up"
        return (WEAR if rises else CLOGGING), f"it is the nozzles ({odds}): {told}"
    kind = NOZZLE_WHILE if change.back else NOZZLE_STEP
    told = "worn, changed, cleaned or leaking" if rises else "clogged or changed"
    return kind, f"it is the nozzles ({odds}): {told}"


def _unclear(change: Change, weighed: Weighed) -> tuple[str, str]:
    who = " or ".join(sorted(weighed.suspects))
    kind = f"{who} {'drift' if change.power else 'changed'}"
    return kind, f"{who}, not to be told apart so far ({weighed.words}); what would decide: {weighed.decides}"


def _lone_run(one: Named) -> Finding:
    run, effect = one.first, one.effect
    found = [words for kind, words in _REASONS.items() if kind in run.fault_kinds]
    why = f"its review found {' and '.join(found)}" if found else "look at that run: a clog, air or a wrong valve"
    words = f"on {run.date} flow at the same pressure was {_amount(effect.size, effect.u)} "
    words += f"{'higher' if effect.size > 0 else 'lower'} in that run alone; {why}"
    return Finding(LONE_RUN, run.date, run.date, *_fraction(effect.size, effect.u), words, started=run.started)


def _lone_balance(one: Named) -> Finding:
    run, effect = one.first, one.effect
    ratio = math.exp(effect.size)
    words = f"on {run.date} the meter read {_amount(effect.size, effect.u)} "
    words += f"{'more' if effect.size > 0 else 'less'} against the tank than in other runs"
    metered = run.volume_m3 if ratio >= _REFILL else None
    missing = None if metered is None else metered * (1.0 - 1.0 / ratio)
    if missing is None:
        words += ": look at how the tank was read"
    else:
        words += f": a refill of about {quantity(missing, 'volume', run.units).text} was not recorded?"
    fraction = _fraction(effect.size, effect.u)
    shown = ("balance",)
    return Finding(LONE_BALANCE, run.date, run.date, *fraction, words, (), shown, run.started, missing)


def strainer_findings(effects: Sequence[Named]) -> list[Finding]:
    """Pressure that fell from run to run, where by its course that is a strainer before the transducer."""
    out = []
    for one in effects:
        weighed, size = one.weighed, one.effect.size
        if weighed is None or not _crept_down(one) or weighed.shares[0][0] != STRAINER:
            continue
        back = one.effect.of.back
        words = f"from {one.first.date} to {one.last.date} the pressure fell by {_amount(size, one.effect.u)} from run "
        words += f"to run {'and then was back' if back else 'and has not come back'}: a strainer before the pump, or "
        words += f"between pump and transducer, filled up (odds {weighed.odds_text} by the course of the pressure "
        words += "alone); a tired battery, a worn pump, or the knob turned down bit by bit can look the same; what "
        words += "would decide: look into the strainers"
        fraction, days = _fraction(size, one.effect.u), (one.first.date, one.last.date)
        out.append(Finding(STRAINER_FILLED, *days, *fraction, words, weighed.suspects, ("pressure",)))
    return out


def lower_remarks(effects: Sequence[Named]) -> list[str]:
    """Pressure that fell from run to run as a hand on the knob, a pump or a battery makes it."""
    return [
        f"from {one.first.date} to {one.last.date} the pressure went down by {percent(-math.expm1(one.effect.size))} "
        f"and stayed down: the knob, or a pump or battery that tires, rather than a strainer (odds "
        f"{one.weighed.odds_text} by its course alone); look into the strainers if nobody turned the knob"
        for one in effects
        if one.weighed is not None and _crept_down(one) and one.weighed.shares[0][0] != STRAINER
    ]


def wheel_findings(effects: Sequence[Named]) -> list[Finding]:
    """Passes of named areas that come out longer or shorter than they did: the wheel, unless the ground has changed."""
    out = []
    for one in effects:
        if one.effect.change.lone or abs(one.effect.size) < _LEAST_WHEEL:
            continue
        longer = one.effect.size > 0
        why = "a softer tyre or a smaller wheel" if longer else "a harder tyre, or a wheel that slips"
        words = f"{_since(one)} passes over the same ground come out {_amount(one.effect.size, one.effect.u)} "
        words += f"{'longer' if longer else 'shorter'} than before: {why}, or passes walked differently; "
        words += "what would decide: measure the wheel over a tape"
        fraction = _fraction(one.effect.size, one.effect.u)
        out.append(Finding(WHEEL_CHANGED, one.first.date, one.last.date, *fraction, words, (), ("pass_length",)))
    return out


def _crept_down(one: Named) -> bool:
    """Whether the pressure fell from run to run, by enough to matter."""
    return one.effect.change.power > 0 and math.expm1(one.effect.size) <= -_PRESSURE_DOWN


def _fraction(size: float, u: float) -> tuple[float, float]:
    return math.expm1(size), u * math.exp(size)


def _amount(size: float, u: float) -> str:
    change, change_u = _fraction(size, u)
    return f"{percent(abs(change), 1)} ± {percent(EXPANDED * change_u, 1)}"
