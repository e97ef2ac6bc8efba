"""Plans, calibrations, lists: every result that has a document says the same on terminal, page, print and as JSON.

What is typed are the examples that stand beside the fields. A result that is built nowhere in the tests fails here.
"""

import ast
from datetime import UTC, datetime
from pathlib import Path

import pytest

from host.bringup.conformance import Listened
from host.bringup.document import bringup_document
from host.bringup.findings import Finding, Grade
from host.calibrate.card_choice import saved_cards
from host.calibrate.cards import make_card, save_card
from host.calibrate.cards_document import cards_document
from host.calibrate.kinds import KINDS
from host.calibrate.kinds.kind import fields_of
from host.entries import Entries
from host.plan.fields import JOB, PRODUCT, PUMP, RATE, REFILL, TIPS
from host.plan.mix_document import mix_document
from host.plan.mix_form import Sheet
from host.plan.pump_document import pump_document
from host.plan.rate_document import rate_document
from host.plan.refill_document import refill_document
from host.plan.tips import tips_document
from host.rig import load_rig
from tests.host.calibrate import toy_kind
from tests.host.calibrate.jobs import WALKER, start
from tests.host.documents.faces import assert_all_faces_say_the_same
from tests.host.plan.asking import METRIC, US

ROOT = Path(__file__).parents[3]
RIGS = {"us": load_rig(US), "metric": load_rig(METRIC)}
PLANS = {
    "rate": (rate_document, RATE, ("pressure", "nozzle_flow")),  # two of rate, speed, pressure are enough
    "tips": (tips_document, TIPS, ()),
    "pump": (pump_document, PUMP, ()),
    "refill": (refill_document, REFILL, ()),
}
# Points that one typed way needs beside its examples, for there to be a result.
TYPED = {
    "pressure": ({"gauge": "0 psi", "counts": "102"}, {"gauge": "40 psi", "counts": "430"}),
}


def examples(fields, system, without=()):
    """The example beside each field, or the first of its choices."""
    choices = {field.name: field.choices[0][0] for field in fields if getattr(field, "choices", ())}
    typed = {field.name: field.example(system) for field in fields} | choices
    return {name: text for name, text in typed.items() if text and name not in without}


@pytest.mark.parametrize("system", RIGS)
@pytest.mark.parametrize("plan", PLANS)
@pytest.mark.parametrize("whole", [True, False], ids=["all fields", "few fields"])
def test_a_plan(plan, system, whole):
    build, fields, without = PLANS[plan]
    asked = [field for field in fields if whole or not field.more]
    assert_all_faces_say_the_same(build(RIGS[system], examples(asked, system, without), system))


@pytest.mark.parametrize("system", RIGS)
@pytest.mark.parametrize("count", [1, 3])
def test_a_mixing_sheet(system, count):
    # A strength by weight goes with a dose of active ingredient by weight; the dose beside it is of product.
    product = examples(PRODUCT, system, ("active",))
    products = [product | {"name": f"Product <{number}>"} for number in range(count)]
    assert_all_faces_say_the_same(mix_document(RIGS[system], Sheet(examples(JOB, system), products), system))


# A recorded run gives the counts of one way; the document is that of the other ways.
WAYS = [
    (kind, way)
    for kind in (*KINDS, toy_kind.KIND)
    for way in kind.ways
    if way.title and way is not kind.guided and not any(field.runs for field in way.fields)
]


@pytest.mark.parametrize("points", [1, 3])
@pytest.mark.parametrize(("kind", "way"), WAYS, ids=lambda one: one.name)
def test_a_calibration(kind, way, points):
    rig = WALKER if kind.name == "course" else RIGS["us"]
    session = start(kind, rig, **examples(kind.settings, rig.units))
    typed = examples(fields_of(way.fields, rig.nozzles.count), rig.units)
    for number in range(points):
        more = TYPED.get(kind.name, ({},))
        entries = Entries(typed | more[number % len(more)])
        session.save(way.name, entries)
        entries.check()
    assert_all_faces_say_the_same(session.outcome().document)


def test_the_list_of_cards(tmp_path):
    rig = RIGS["us"]
    for day in (1, 2):
        section = {"factor": f"{1700 + day} pulses/gal"}
        save_card(make_card("meter", rig.name, datetime(2026, 5, day, tzinfo=UTC), section, {"result": "x"}), tmp_path)
    assert_all_faces_say_the_same(cards_document(saved_cards(tmp_path, rig.name), rig.name))


def test_a_bring_up():
    findings = [Finding(grade, f"what {grade}", "seen <b>, and what to do") for grade in Grade]
    assert_all_faces_say_the_same(bringup_document(Listened(None, None, findings, {}), findings))


def builders():
    """The public functions of the host that return a document."""
    for path in (ROOT / "host").rglob("*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            returns = getattr(node, "returns", None)
            if isinstance(returns, ast.Name) and returns.id == "Document" and not node.name.startswith("_"):
                yield node.name


def test_every_function_that_builds_a_document_is_named_by_a_test_that_renders_it():
    texts = [path.read_text(encoding="utf-8") for path in (ROOT / "tests").rglob("*.py")]
    rendering = "\n".join(text for text in texts if assert_all_faces_say_the_same.__name__ in text)
    rendering += (ROOT / "tests/host/review/golden_results.py").read_text(encoding="utf-8")
    of_kinds = {f"{kind.name}_document" for kind, _ in WAYS} | {"job_document"}  # which mix_document calls
    assert {name for name in builders() if name not in rendering} <= of_kinds
