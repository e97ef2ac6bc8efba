"""Amounts to pour: digits, parts and total, and what a tool shows of them."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.plan.amounts import (
    MOST_OFF,
    POUR_UNITS,
    TOOLS,
    measure,
    pour_unit,
    settle,
    settle_loads,
    stock_mix,
    with_scale,
)

ML, G = 1e-6, 1e-3


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0.0459137, "0.0459"), (1.36, "1.36"), (9.996, "10.0"), (48.04, "48.0"), (129.6, "130"), (1234.4, "1234"),
        (0.000123449, "0.000123"), (2.25, "2.25"), (2.245, "2.25"), (99.95, "100"), (5e-7, "0.000000500"),
    ],
)  # fmt: skip
def test_three_significant_digits(value, shown):
    assert f"{settle(value):f}" == shown


@given(st.floats(1e-9, 1e6))
def test_what_is_settled_is_within_half_a_percent(value):
    assert float(settle(value)) == pytest.approx(value, rel=0.005 + 1e-12)


def test_no_gallons_below_a_quart():
    assert pour_unit("gallon", POUR_UNITS["quart"].size).symbol == "gal"
    assert pour_unit("gallon", 0.99 * POUR_UNITS["quart"].size).symbol == "fl oz"
    assert pour_unit("pint", 1e-9).symbol == "pt"  # typed in pints, shown in pints
    assert pour_unit("kilogram", 0.05).symbol == "g"


def test_loads_add_up_to_the_total():
    """The finding that started it: 18.4 + 18.4 + 11.3 under "48.0 in all"."""
    poured = settle_loads([(2, 18.37), (1, 11.29)], POUR_UNITS["kilogram"])
    assert poured.loads == (Decimal("18.4"), Decimal("11.3"))
    assert poured.total == Decimal("48.1")


@pytest.mark.parametrize(
    ("system", "form", "amount", "shown", "tool", "fills"),
    [
        ("us", "liquid", 1.36 * ML, "1.4 mL", "a 3 mL syringe", 1),
        ("us", "liquid", 12 * ML, "12.0 mL", "a 10 mL syringe", 2),
        ("metric", "liquid", 40 * ML, "40 mL", "a 60 mL syringe", 1),
        ("metric", "liquid", 200 * ML, "200 mL", "a 250 mL cylinder", 1),
        ("metric", "liquid", 2000 * ML, "2000 mL", "a 5 L jug", 1),
        ("us", "liquid", 30 * 29.5735295625 * ML, "30 fl oz", "a 32 fl oz jug", 1),
        ("us", "liquid", 3785.411784 * ML, "128 fl oz", "a 1 gal jug", 1),
        ("metric", "dry", 35 * G, "35 g", "a kitchen scale", 1),
        ("us", "dry", 20 * 453.59237 * G, "20.0 lb", "a hanging scale", 1),
    ],
)
def test_what_to_measure_with(system, form, amount, shown, tool, fills):
    measured = measure(amount, TOOLS[form, system])
    quantity = measured.quantity("us")
    assert f"{measured.shown} {quantity.symbol}" == shown
    assert (measured.tool.name, measured.fills, measured.good) == (tool, fills, True)


def test_too_little_for_a_scale_gets_a_stock_mix_that_holds_it():
    tools = TOOLS["dry", "metric"]
    measured = measure(0.4 * G, tools)
    assert not measured.good and measured.quantity("us").text == "under 1 g"
    stock = stock_mix(0.4 * G, tools)
    assert stock.product.shown == 20
    assert stock.pour_m3 * 1e6 == pytest.approx(20.0)  # 20 g in 1000 mL: 0.4 g are in 20 mL
    own = measure(0.4 * G, with_scale(tools, 0.01 * G))
    assert own.good and own.quantity("us").text == "0.40 g"


@given(
    st.floats(1e-9, 50e-3), st.sampled_from([("liquid", "us"), ("liquid", "metric"), ("dry", "us"), ("dry", "metric")])
)
def test_a_tool_shows_what_is_poured_within_half_its_step(amount, which):
    measured = measure(amount, TOOLS[which])
    step = float(measured.tool.step) * measured.tool.unit.size
    assert abs(float(measured.shown) * measured.tool.unit.size - amount) <= step / 2 * (1 + 1e-6)
    assert measured.good == (step / 2 / amount <= MOST_OFF * (1 + 1e-9))
    assert measured.shown <= measured.fills * measured.tool.most


@pytest.mark.parametrize(
    ("unit", "size"),
    [
        ("tablespoon", 14.786_76e-6),
        ("teaspoon", 4.928_922e-6),
        ("fluid_ounce", 29.573_53e-6),
        ("cup", 236.588_2e-6),
        ("pint", 473.176_5e-6),
        ("quart", 946.352_9e-6),
        ("gallon", 3.785_412e-3),
        ("ounce", 0.028_349_52),
        ("pound", 0.453_592_4),
    ],
)
def test_a_unit_to_pour_in_is_as_large_as_the_tables_say(unit, size):
    """NIST SP 811, Appendix B.8 (m³, kg)."""
    assert POUR_UNITS[unit].size == pytest.approx(size, rel=1e-6)
