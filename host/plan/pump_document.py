"""The pump against its need as a result: a verdict, the flows it rests on, need and curve in one plot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

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
    quantity,
)
from host.entries import WrongEntriesError
from host.errors import BadInputError
from host.plan.fields import PUMP
from host.plan.inputs import Answers, parse_density, parse_share
from host.plan.products import ORDER, parse_family
from host.plan.pump import AGITATION, MARGIN, Duty, enough_up_to, judge
from host.plan.rate import Boom
from host.rig import Pump, Rig
from host.unit_text import parse_quantity
from host.units import UNITS, format_value, to_user

_ANSWERS: dict[str, tuple[str, Level]] = {
    "enough": ("The pump is big enough, with the margin.", "note"),
    "tight": ("The pump just covers nozzles and agitation, without the margin: wear will use it up.", "warning"),
    "no agitation": ("", "warning"),
    "too small": (
        "The pump cannot hold this pressure with all nozzles open: spray at less pressure or with smaller tips.",
        "stop",
    ),
    "switched off": (
        "The pressure switch turns the pump off below this pressure: spray at less, or set the switch higher.",
        "stop",
    ),
    "unknown": ("Only the need is known, not what the pump gives at this pressure.", "note"),
}
_NO_AGITATION = {
    "suspension": "The pump feeds the nozzles but cannot stir the tank as well: what is in it will settle. Spray at "
    "less pressure.",
    "solution": "The pump feeds the nozzles but cannot stir the tank as well: mix well before you start, and spray at "
    "less pressure.",
}
_POINTS = 25


def pump_document(rig: Rig, typed: Mapping[str, str | None], system: str, *, command: bool = False) -> Document:
    """The verdict on the rig's pump. Raises WrongEntriesError, and UserError for what belongs to no field."""
    answers = Answers(PUMP, typed, command=command)
    mix = answers.read("mix", _mix) or "suspension"
    pressure = answers.quantity("pressure", "pressure")
    if pressure is None and not answers.given("pressure"):
        pressure = rig.nozzles.highest_stated_pa
    margin = answers.read("margin", lambda text, where: parse_share(text, where, 5.0))
    agitation = answers.read("agitation", _agitation)
    gravity = answers.read("density", parse_density)
    answers.check()
    if pressure is None:
        raise WrongEntriesError({})
    duty = Duty(
        Boom(rig.nozzles, rig.swath_m, 1.0 if gravity is None else gravity),
        rig.tank.volume_m3,
        AGITATION[mix] if agitation is None else agitation,
        MARGIN if margin is None else margin,
    )
    verdict = judge(rig.pump, duty, pressure)
    answer, level = _ANSWERS[verdict]
    if verdict == "no agitation":
        answer = _NO_AGITATION[mix]
    elif verdict == "unknown" and rig.pump is not None and rig.pump.known:
        ends = format_value(rig.pump.points[-1][0], "pressure", system)
        answer, level = f"The pump's table ends at {ends}: what it gives at this pressure is not known.", "warning"
    return Document(
        "pump",
        f"Pump of {rig.name}",
        answer,
        (
            Section("", "", (_flows(rig, duty, verdict, pressure, system), Messages(tuple(_notes(rig.pump))))),
            Section("", "Need and pump", _curves(rig.pump, duty, pressure, system)),
        ),
        level,
    )


def _mix(text: str, where: str) -> str:
    """A key of AGITATION from its name, or from the kind of a product."""
    word = text.strip().lower()
    if word in AGITATION:
        return word
    try:
        return "suspension" if ORDER[parse_family(text, where)].stir else "solution"
    except BadInputError:
        raise BadInputError(
            f'{where} is "{text.strip()}": give "suspension" for powder, granules or flowables, "solution" for what '
            "dissolves, or the code on the label, such as WP or EC."
        ) from None


def _agitation(text: str, where: str) -> float:
    """A share of the tank a minute, with or without "/min" behind it."""
    text = text.strip().removesuffix("/min").removesuffix("a minute").strip()
    share = parse_quantity(text, "fraction", where)
    if not 0 <= share <= 1:
        raise BadInputError(f'{where} is "{text}": give 0 to 100 % of the tank a minute, such as "5 %".')
    return share


def _flows(rig: Rig, duty: Duty, verdict: str, pressure: float, system: str) -> Facts:
    need, pump = duty.need(pressure), rig.pump
    gives = None if pump is None else pump.flow_m3_s(pressure)
    rows = [
        Fact("verdict", "", verdict),
        Fact("pressure", "Pressure", quantity(pressure, "pressure", system)),
        Fact("nozzles", f"{rig.nozzles.count} nozzles", quantity(need.nozzles_m3_s, "flow", system)),
        Fact(
            "agitation",
            f"Agitation, {100 * duty.agitation:.3g} % of the tank a minute",
            quantity(need.agitation_m3_s, "flow", system),
        ),
        Fact("need", "Total needed", quantity(need.need_m3_s, "flow", system)),
        Fact(
            "need_with_margin",
            f"With a safety margin of {100 * duty.margin:.3g} %",
            quantity(need.with_margin_m3_s, "flow", system),
        ),
        Fact("pump", "The pump gives", quantity(gives, "flow", system)),
    ]
    if pump is not None and pump.known and verdict not in ("enough", "unknown"):
        most = enough_up_to(pump, duty)
        label = "Big enough up to" if most is not None else "Big enough at"
        rows.append(Fact("enough_up_to", label, "no pressure" if most is None else quantity(most, "pressure", system)))
    return Facts(tuple(rows))


def _notes(pump: Pump | None) -> list[Message]:
    if pump is None:
        return [Message("The rig file has no [pump]. Its own table, a few rows of pressure and flow, is the best.")]
    if pump.straight:
        return [
            Message(
                "A straight line from open flow to shut-off pressure is assumed. Small diaphragm pumps come close to "
                "it (common practice); a pressure switch opens below the shut-off. Rows of the pump's table are better."
            )
        ]
    if not pump.known:
        return [
            Message(
                "Open flow is all that is known of the pump, and under pressure every pump gives less. Give rows of "
                "its table, or its shut-off pressure; where a pressure switch opens is neither.",
                "advice",
            )
        ]
    return []


def _curves(pump: Pump | None, duty: Duty, pressure: float, system: str) -> tuple[Plot, Table]:
    """Need over pressure and the pump's curve, as a plot and as rows for machines."""
    top = max(1.25 * pressure, pump.points[-1][0] if pump is not None and pump.points[-1][0] < 3 * pressure else 0.0)
    # Closer together where the flow of an orifice bends, near zero.
    pressures = [top * (step / (_POINTS - 1)) ** 2 for step in range(_POINTS)]
    needs = [duty.need(max(p, 1.0)) for p in pressures]
    gives = [None if pump is None or not pump.known else pump.flow_m3_s(p) for p in pressures]
    lines: dict[str, Sequence[float | None]] = {
        "nozzles": [need.nozzles_m3_s for need in needs],
        "nozzles and agitation": [need.need_m3_s for need in needs],
        "with margin": [need.with_margin_m3_s for need in needs],
        "pump": gives,
    }
    series = tuple(
        Series(
            tuple(
                (to_user(p, "pressure", system), float("nan") if q is None else to_user(q, "flow", system))
                for p, q in zip(pressures, flows, strict=True)
            ),
            label,
        )
        for label, flows in lines.items()
        if any(flow is not None for flow in flows)
    )
    unit = UNITS[system]
    plot = Plot(
        "pump",
        "What is needed, and what the pump gives",
        f"Pressure, {unit['pressure'].symbol}",
        f"Flow, {unit['flow'].symbol}",
        series,
        marks=((to_user(pressure, "pressure", system), "highest pressure"),),
    )
    names = ("pressure", "nozzles", "need", "need_with_margin", "pump")
    rows = tuple(
        (quantity(p, "pressure", system), *(quantity(flows[place], "flow", system) for flows in lines.values()))
        for place, p in enumerate(pressures)
    )
    return plot, Table("curve", tuple(Column(name, "") for name in names), rows)
