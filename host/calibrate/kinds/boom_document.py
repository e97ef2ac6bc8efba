"""A catch test as it is told: each nozzle at each pressure, what does not fit together, what would hit the target."""

from __future__ import annotations

from collections.abc import Sequence

from host.calibrate.boom import FAULT, FAULT_OVER, FLAG, FLAG_OVER, BoomTest, CatchResult, NozzleResult
from host.calibrate.budget import assumed_messages, budget_section, good_to
from host.calibrate.kinds.part import signed_percent
from host.calibrate.nozzle_catches import NozzleCatch
from host.calibrate.uncertainty import combine
from host.documents.document import (
    Column,
    Document,
    Fact,
    Facts,
    Level,
    Message,
    Messages,
    Plot,
    Section,
    Series,
    Table,
    column,
    quantity,
)
from host.rig import Rig
from host.units import format_value

_TITLE = "Each nozzle beside the others"
_ADVICE = {
    FLAG: f"over {100 * FLAG_OVER:.0f} %: clean it and catch again",
    FAULT: f"FAULT: over {100 * FAULT_OVER:.0f} %",
}


def boom_document(test: BoomTest, rig: Rig, speed_m_s: float | None) -> Document:
    """`speed_m_s` is the spraying speed that the rate is told for; None where it is not known."""
    catches = Section(
        "catches", "", sections=tuple(_catch(result, rig, speed_m_s) for result in test.results), listed=True
    )
    findings = Messages(
        tuple(Message(finding.sentence(rig.units), "warning", finding.kind) for finding in test.findings), "findings"
    )
    hint = (
        [] if speed_m_s is not None else ["Give your spraying speed to see the rate, and the pressure for the target."]
    )
    advice = Messages(tuple(Message(text, "advice") for text in hint))
    answer = _answer(test)
    level: Level = "note" if answer.startswith("All nozzles") and not test.findings else "warning"
    told = Section("", "", (findings, *((advice,) if hint else ())))
    return Document("boom", "Catch test", answer, (told, catches), level)


def is_odd(test: BoomTest) -> bool:
    """Whether the boom is not sound: a nozzle with a fault or worn, catches that do not fit together or the rating."""
    return bool(test.findings or bad_nozzles(test))


def bad_nozzles(test: BoomTest) -> list[int]:
    """Numbers of the nozzles with a fault, and of worn ones."""
    nozzles = [nozzle for result in test.results for nozzle in result.nozzles]
    return sorted({nozzle.number for nozzle in nozzles if nozzle.worn or (nozzle.verdict == FAULT and nozzle.sure)})


def _is_bad(nozzle: NozzleResult) -> bool:
    return nozzle.worn or (nozzle.verdict in _ADVICE and nozzle.sure)


def _answer(test: BoomTest) -> str:
    """The worst nozzle by name, else the worst that is flagged, else that all are well."""
    found = [(nozzle, result) for result in test.results for nozzle in result.nozzles if _is_bad(nozzle)]
    numbers = sorted({nozzle.number for nozzle, _ in found})
    law = _together(test)
    if not found:
        fits = "they follow the square-root law and the rating" if len(test.results) > 1 else "they fit their rating"
        return f"All nozzles within {100 * FLAG_OVER:.0f} %{law or '; ' + fits}"
    if len(numbers) > 1:
        return f"Nozzles {', '.join(map(str, numbers))} to look at{law}"
    worst = max((nozzle for nozzle, _ in found), key=lambda nozzle: abs(nozzle.deviation))
    if worst.verdict not in _ADVICE:
        return f"Nozzle {worst.number} gives {_percent(worst.wear)} than its rating{law}"
    rating = f" and {_percent(worst.wear)} than its rating"
    others = "" if len(test.results[0].nozzles) == 1 else f" {_percent(worst.deviation)} than the others"
    return f"Nozzle {worst.number} gives{others}{rating}{law}"


def _together(test: BoomTest) -> str:
    """Whether catches contradict each other, or agree and lie beside the rating; empty where neither."""
    if any(finding.kind == "square-root law" for finding in test.findings):
        return "; the catches do not fit together"
    changes = [finding.change for finding in test.findings]
    return f"; the boom gives {_percent(max(changes, key=abs))} than its rating" if changes else ""


def _percent(fraction: float) -> str:
    return f"{abs(100 * fraction):.0f} % {'more' if fraction > 0 else 'less'}"


def _catch(result: CatchResult, rig: Rig, speed_m_s: float | None) -> Section:
    system, catch = rig.units, result.catch
    seconds = f"{catch.duration_s:.3g} s"
    timed = f"for {seconds}" if catch.times_s is None else f"{seconds} each on average"
    facts = [
        Fact("pressure", "", quantity(catch.pressure_pa, "pressure", system)),
        Fact("time_s", "", catch.duration_s),
        Fact("mean_flow", "Mean of the nozzles", quantity(result.mean_flow_m3_s, "flow", system)),
    ]
    if result.variation is not None:
        facts.append(Fact("variation", "Coefficient of variation", quantity(result.variation, "fraction", system)))
    whole = quantity(result.total_coefficient, "orifice_coefficient", system)
    good = good_to(result.uncertainty, "fraction", system)
    facts += [
        Fact("total_coefficient", "", whole),
        Fact("", "Whole boom", f"{whole.text}, good to {good}"),
        *_target(result, rig, speed_m_s),
    ]
    off = [nozzle.deviation for nozzle in result.nozzles]
    blocks = (
        Facts(tuple(facts)),
        _nozzles(result, system),
        _bars(_TITLE, off, "% off the sound nozzles' mean"),
        Messages(assumed_messages(result.uncertainty)),
    )
    heading = f"At {format_value(catch.pressure_pa, 'pressure', system)}, {timed}"
    return Section("", heading, blocks, sections=(budget_section(result.uncertainty, "fraction", system),))


def _target(result: CatchResult, rig: Rig, speed_m_s: float | None) -> list[Fact]:
    """The rate at the speed, and what would bring the target."""
    system = rig.units
    rate, pressure = result.rate_m3_m2, result.pressure_for_target_pa
    reach = f"{format_value(result.speed_for_target_m_s, 'speed', system)} at this pressure"
    facts = [
        Fact("rate", "", quantity(rate, "rate", system)),
        Fact("pressure_for_target", "", quantity(pressure, "pressure", system)),
        Fact("speed_for_target", "", quantity(result.speed_for_target_m_s, "speed", system)),
    ]
    if speed_m_s is not None and rate is not None:
        speed = format_value(speed_m_s, "speed", system)
        also = format_value(rate, "field_rate", system)
        # The pressure is as it was; what is open is what was caught, and the time.
        caught = combine(part for part in result.uncertainty.components if "gauge" not in part.name)
        shown = quantity(rate, "rate", system, expanded_si=caught.expanded * rate)
        facts.append(Fact("", f"Rate at {speed} (± is 95 %)", f"{shown.text} ({also})"))
        reach += f", or {format_value(pressure, 'pressure', system)} at {speed}"
    target = format_value(rig.target.rate_m3_m2, "rate", system)
    return [*facts, Fact("", f"For {target}", reach)]


def _nozzles(result: CatchResult, system: str) -> Table:
    columns = (
        Column("nozzle", "Nozzle"),
        column("flow", "Flow", "flow", system),
        Column("deviation", "Off the others", "%"),
        Column("wear", "Off its rating", "%"),
        Column("", "Verdict"),
        column("coefficient", "", "orifice_coefficient", system),
        Column("verdict", ""),
        Column("worn", ""),
    )
    rows = tuple(
        (
            nozzle.number,
            quantity(nozzle.flow_m3_s, "flow", system),
            signed_percent(nozzle.deviation),
            signed_percent(nozzle.wear),
            _verdict(nozzle),
            quantity(nozzle.coefficient, "orifice_coefficient", system),
            nozzle.verdict,
            nozzle.worn,
        )
        for nozzle in result.nozzles
    )
    bad = frozenset(index for index, nozzle in enumerate(result.nozzles) if _is_bad(nozzle))
    return Table("nozzles", columns, rows, marked=bad)


def _verdict(nozzle: NozzleResult) -> str:
    words = [_ADVICE[nozzle.verdict]] if nozzle.verdict in _ADVICE else []
    if words and not nozzle.sure:
        words = ["may be off by too much, the reading cannot tell: catch for longer"]
    return "; ".join([*words, *(["worn: replace it"] if nozzle.worn else [])]) or "ok"


def bars_of(rig: Rig, caught: Sequence[NozzleCatch]) -> Plot:
    """The nozzles caught so far beside their rating."""
    rated = [float(rig.nozzles.flow_m3_s(catch.pressure_pa)) for catch in caught]
    flows = [catch.amount.volume_m3 / catch.duration_s for catch in caught]
    off = [flow / rating - 1.0 for flow, rating in zip(flows, rated, strict=True)]
    return _bars("Each nozzle beside its rating", off, "% off its rating")


def _bars(title: str, deviations: Sequence[float], label: str) -> Plot:
    """Bars, with the lines that flag a nozzle."""
    bars = tuple((float(index), 100 * deviation) for index, deviation in enumerate(deviations))
    limits = [
        (sign * 100 * limit, f"{sign * 100 * limit:+.0f} %") for limit in (FLAG_OVER, FAULT_OVER) for sign in (1, -1)
    ]
    return Plot(
        "nozzles",
        title,
        "Nozzle",
        label,
        (Series(bars, "nozzle", "bars"),),
        levels=tuple(limits),
        x_names=tuple(str(number) for number in range(1, len(bars) + 1)),
    )
