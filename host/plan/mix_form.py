"""A mixing sheet as it was typed, and the job that comes of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from host.documents.words import sentence
from host.entries import WrongEntriesError
from host.errors import BadInputError, UserError
from host.plan.amounts import TOOLS, Tool, with_scale
from host.plan.area import parse_area
from host.plan.fields import JOB, PRODUCT
from host.plan.inputs import Answers
from host.plan.mix import Mix, mix
from host.plan.products import (
    Product,
    parse_dose,
    parse_family,
    parse_per_area,
    parse_strength,
    product_for_active,
)
from host.rig import Rig
from host.unit_text import parse_quantity


@dataclass(frozen=True)
class Sheet:
    """A mix as it was typed: the job's fields by name, and those of each product."""

    job: Mapping[str, str | None]
    products: Sequence[Mapping[str, str | None]]


@dataclass(frozen=True)
class Used:
    """What `runs` put down of a product before, per area (m³/m² or kg/m²).

    `since` names the day counted from, `place` where; empty: anywhere, as if all had been on the same ground.
    """

    form: str
    per_area: float
    runs: int
    since: str
    place: str = ""


@dataclass(frozen=True)
class Before:
    """What runs of this season put down, by the product's name in lower case; `not_counted` files could not be read.

    `unknown` says of a product how many runs put down nobody knows how much of it.
    """

    used: Mapping[str, Used] = field(default_factory=dict)
    not_counted: int = 0
    unknown: Mapping[str, int] = field(default_factory=dict)


NOTHING_BEFORE = Before()


@dataclass(frozen=True)
class Job:
    """A mix worked out, with what else was asked; `before` is what runs put down of its products, by their names."""

    rig: Rig
    mix: Mix
    tank_m3: float
    field_m2: float | None
    tools: Mapping[str, tuple[Tool, ...]]
    measured_rate_m3_m2: float | None
    doses: Mapping[str, str] = field(default_factory=dict)
    before: Before = NOTHING_BEFORE


def work_out(rig: Rig, sheet: Sheet, system: str, *, command: bool = False, before: Before = Before()) -> Job:
    """Read a sheet and mix it. Raises WrongEntriesError by field ("area", "product", "product 2"), and UserError.

    `command` names the fields in messages by their options. `before` counts where nothing was typed for `used`.
    """
    answers = Answers(JOB, sheet.job, command=command)
    area = answers.read("area", parse_area)
    rate = answers.quantity("rate", "rate") or rig.target.rate_m3_m2
    tank = answers.quantity("tank", "volume") or rig.tank.volume_m3
    treated = _in_bands(answers, area)
    scale = answers.read("scale", _scale_step)
    measured = answers.quantity("measured_rate", "rate")
    wrong: dict[str, str] = {}
    products: list[Product] = []
    for number, typed in enumerate(sheet.products or ({},), start=1):
        try:
            products.append(_product(typed, number, len(sheet.products), command=command, before=before.used))
        except WrongEntriesError as error:
            wrong |= {_numbered(name, number): text for name, text in error.sentences.items()}
    try:
        answers.check()
    except WrongEntriesError as error:
        wrong = error.sentences | wrong
    if wrong:
        raise WrongEntriesError(wrong)
    if len({product.name.lower() for product in products}) < len(products):
        raise BadInputError("two products have the same name: name each, so that they can be told apart.")
    tools = {form: TOOLS[form, system] for form in ("liquid", "dry")}
    if scale is not None:
        tools["dry"] = with_scale(tools["dry"], scale)
    doses = {p.name: str(typed["product"]).strip() for p, typed in zip(products, sheet.products, strict=True)}
    used = {p.name: before.used[p.name.lower()] for p in products if p.name.lower() in before.used}
    asked = {p.name for p, typed in zip(products, sheet.products, strict=True) if not (typed.get("used") or "").strip()}
    unknown = {name: before.unknown[name.lower()] for name in sorted(asked) if name.lower() in before.unknown}
    known = Before(used, before.not_counted, unknown)
    return Job(rig, mix(products, rate, tank, treated), tank, area, tools, measured, doses, known)


def _numbered(name: str, number: int) -> str:
    return name if number == 1 else f"{name} {number}"


def _product(
    typed: Mapping[str, str | None], number: int, count: int, *, command: bool, before: Mapping[str, Used]
) -> Product:
    answers = Answers(PRODUCT, typed, command=command, of="" if number == 1 else f" of product {number}")
    missing = f"{answers.where('product')} is missing: give what the product's label says."
    label = answers.need("product", parse_dose, missing)
    strength = answers.read("active", parse_strength)
    family = answers.read("kind", parse_family) or ""
    dose = label
    if label is not None and strength is not None:
        try:
            dose = product_for_active(label, *strength)
        except UserError as error:
            answers.wrong("active", sentence(str(error)))
    limits = {}
    for name in ("most", "season", "used"):
        if dose is not None:
            limits[name] = answers.read(name, lambda text, where: parse_per_area(text, dose, strength, where))
    answers.check()
    assert dose is not None
    name = " ".join((typed.get("name") or "").split()) or ("Product" if count == 1 else f"Product {number}")
    if len(name) > 60 or not name.isprintable():
        raise WrongEntriesError({"name": f"{answers.where('name')} is too long: use up to 60 letters."})
    known = before.get(name.lower())
    if limits["used"] is None and known is not None and known.form == dose.form:
        limits["used"] = known.per_area
    return Product(name, dose, family, limits["most"], limits["season"], limits["used"])


def _in_bands(answers: Answers, area: float | None) -> float | None:
    """The ground that is sprayed: all of the area, or the bands in it."""
    band, row = answers.quantity("band", "length"), answers.quantity("row", "length")
    if answers.given("band") != answers.given("row"):
        missing, there = ("row", "band") if answers.given("band") else ("band", "row")
        answers.wrong(missing, f"{answers.where(there)} needs {answers.where(missing)} beside it: give both.")
    if band is None or row is None or area is None:
        return area
    if band > row:
        answers.wrong("band", f"{answers.where('band')} is wider than {answers.where('row')}: correct one of them.")
    return area * band / row


def _scale_step(text: str, where: str) -> float:
    step = parse_quantity(text, "mass", where, ounces_of_weight=True)
    if not 1e-6 <= step <= 1.0:
        raise BadInputError(f'{where} is "{text}": give the smallest step that it shows, such as "1 g".')
    return step
