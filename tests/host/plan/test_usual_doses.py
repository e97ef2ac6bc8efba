"""The mixing sheet over usual label rates and lawns: what is shown is what is poured, and it adds up.

Rates from 0.1 fl oz/acre to 5 gal/acre and from 5 g/ha to 20 kg/ha, areas from 200 ft² to 5 acres; exact amounts are
worked out here from the units' definitions (NIST Handbook 44, Appendix C).
"""

from __future__ import annotations

import random
from decimal import Decimal
from functools import cache

import pytest

from host.plan.mix_document import mix_document
from host.plan.mix_form import Sheet
from host.rig import load_rig
from tests.host.plan.asking import METRIC, US

ACRE_M2, FOOT_M2 = 4046.8564224, 0.09290304
# The unit shown -> mL or g.
SIZE = {
    "fl oz": 29.5735295625, "pt": 473.176473, "qt": 946.352946, "gal": 3785.411784, "mL": 1.0, "L": 1000.0,
    "oz wt": 28.349523125, "lb": 453.59237, "g": 1.0, "kg": 1000.0,
}  # fmt: skip
# Steps of the tools by their names, in mL or g; see a jug, a syringe, a scale.
STEP = {
    "3 mL syringe": 0.1, "10 mL syringe": 0.2, "60 mL syringe": 1.0, "250 mL cylinder": 2.0, "32 fl oz jug": 29.5735,
    "1 gal jug": 4 * 29.5735, "1 L jug": 10.0, "5 L jug": 50.0, "bucket with 1/4 gal marks": 946.353,
    "bucket with 0.25 L marks": 250.0, "kitchen scale": 1.0, "hanging scale": 50.0,
}  # fmt: skip
LIQUID = [("fl oz/acre", 0.1, 640), ("pt/acre", 0.1, 40), ("qt/acre", 0.1, 20), ("gal/acre", 0.05, 5),
          ("fl oz/1000 ft2", 0.05, 14), ("mL/ha", 7, 47_000), ("L/ha", 0.05, 47)]  # fmt: skip
DRY = [("g/ha", 5, 20_000), ("kg/ha", 0.005, 20), ("oz wt/acre", 0.07, 285), ("lb/acre", 0.05, 17.8),
       ("oz wt/1000 ft2", 0.005, 6.5), ("g/100 m2", 0.05, 200)]  # fmt: skip
PER_M2 = {
    "acre": ACRE_M2, "1000 ft2": 1000 * FOOT_M2, "ha": 1e4, "100 m2": 100.0,
}  # fmt: skip


@cache
def rig(file):
    return load_rig(file)


def drawn(random_):
    unit, low, high = random_.choice(LIQUID + DRY)
    dose = float(f"{low * (high / low) ** random_.random():.3g}")
    if random_.random() < 0.5:
        area, ground = round(200 * (5 * 43560 / 200) ** random_.random()), "ft2"
        m2 = area * FOOT_M2
    else:
        area, ground = round(20 * (20_000 / 20) ** random_.random()), "m2"
        m2 = area
    amount, per = unit.split("/", 1)
    exact = dose * SIZE[amount] / PER_M2[per] * m2  # mL or g
    return f"{dose:g} {unit}", f"{area} {ground}", exact


def number(text):
    return Decimal(text.replace(",", "").replace("\u202f", ""))


def hold(product, area, exact, file, system):
    """One sheet against the exact amount of product for the whole area."""
    document = mix_document(rig(file), Sheet({"area": area}, [{"product": product}]), system)
    what = (product, area, system)
    (total,) = [b for b in document.blocks() if getattr(b, "key", "") == "products" and b.columns[0].heading]
    shown = total.rows[0][1]
    assert float(number(shown.number)) * SIZE[shown.symbol] == pytest.approx(exact, rel=0.005), what
    loads = document.section("loads").sections
    volume = sum(fact("count", load) * fact("volume", load).value for load in loads)
    sum_shown = Decimal(0)
    for load in loads:
        (machine,) = [block for block in load.blocks if getattr(block, "key", "") == "products"]
        _, amount, measured, tool, off = machine.rows[0]
        assert amount.symbol == shown.symbol, what
        assert number(amount.number) > 0, what
        sum_shown += fact("count", load) * number(amount.number)
        poured = exact * fact("volume", load).value / volume  # what this load must hold
        assert float(number(amount.number)) * SIZE[amount.symbol] == pytest.approx(poured, rel=0.006), what
        if measured is None:
            assert off.value > 5, what
            assert any("cannot" in m.text for b in document.blocks() for m in getattr(b, "messages", ())), what
            continue
        step = STEP[tool.removeprefix("a ").partition(",")[0]]
        read = float(number(measured.number)) * SIZE[measured.symbol]
        assert abs(read - poured) <= step / 2 * 1.001 + 1e-4 * poured, (what, read, poured, tool)
        assert step / 2 <= 0.0501 * poured, what
    assert sum_shown == number(shown.number), what


def fact(key, load):
    return next(each.value for block in load.blocks for each in getattr(block, "facts", ()) if each.key == key)


def many(count, seed):
    random_ = random.Random(seed)
    for _ in range(count):
        hold_drawn(drawn(random_), random_)


def hold_drawn(dose, random_):
    hold(*dose, *random_.choice([(US, "us"), (METRIC, "metric"), (US, "metric")]))


def test_usual_doses_on_usual_lawns():
    many(500, seed=14)


@pytest.mark.soak
def test_ten_thousand_usual_doses():
    many(10_000, seed=2026)


@pytest.mark.parametrize(
    ("product", "area", "system", "says"),
    [
        # The sheets that used to say zero, or double.
        ("1 fl oz/acre", "2000 ft2", "us", "0.0459 fl oz"),
        ("20 g/ha", "200 m2", "metric", "0.400 g"),
        ("35 g/ha", "200 m2", "metric", "0.700 g"),
        ("75 mL/ha", "200 m2", "metric", "1.50 mL"),
        ("500 g/ha", "50 m2", "metric", "2.50 g"),
        ("0.3 fl oz/1000 ft2", "500 ft2", "us", "0.150 fl oz"),
        ("3 mL/1000 ft2", "5000 ft2", "us", "15.0 mL"),
        ("2 tsp/1000 ft2", "1500 ft2", "us", "3.00 tsp"),
    ],
)
def test_doses_that_were_rounded_away(product, area, system, says):
    file = {"us": US, "metric": METRIC}[system]
    document = mix_document(rig(file), Sheet({"area": area}, [{"product": product}]), system)
    assert document.answer.startswith(f"{says} of product in ")


def test_a_sheet_that_is_off_would_be_noticed():
    with pytest.raises(AssertionError):
        hold("1 fl oz/acre", "2000 ft2", 1.01 * 29.5735295625 / ACRE_M2 * 2000 * FOOT_M2, US, "us")
