import json
import math
import subprocess
import sys

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.errors import UserError
from host.unit_definitions import BARE_OUNCES, DEFINITIONS, SPELLINGS
from host.units import (
    NARROW_SPACE,
    UNITS,
    column_name,
    format_number,
    format_value,
    parse_quantity,
    significant_decimals,
    to_user,
)

PINT = pint.UnitRegistry()

# What each shown unit is in the words of Pint's own default registry.
IN_PINT = {
    "ft": "foot", "in": "inch", "ft²": "foot**2", "acres": "international_foot**2 * 43560", "gal": "gallon",
    "fl oz": "fluid_ounce", "s": "second", "mph": "mile/hour", "gal/min": "gallon/minute", "psi": "psi",
    "gal/1000 ft²": "gallon/(1000*foot**2)", "gal/acre": "gallon/(43560*foot**2)",
    "fl oz/1000 ft²": "fluid_ounce/(1000*foot**2)", "pulses/gal": "1/gallon", "Hz": "1/second", "lb": "pound",
    "oz wt": "ounce", "oz wt/1000 ft²": "ounce/(1000*foot**2)", "lb/gal": "pound/gallon",
    "lb/acre": "pound/(43560*foot**2)",
    "gal/min/√psi": "gallon/minute/psi**0.5", "%": "percent", "°F": "degF", "m": "meter", "cm": "centimeter",
    "m²": "meter**2", "ha": "hectare", "L": "liter", "mL": "milliliter", "km/h": "kilometer/hour",
    "L/min": "liter/minute", "bar": "bar", "L/100 m²": "liter/(100*meter**2)", "L/ha": "liter/hectare",
    "mL/100 m²": "milliliter/(100*meter**2)", "pulses/L": "1/liter", "kg": "kilogram", "g": "gram",
    "kg/L": "kilogram/liter", "kg/ha": "kilogram/hectare", "g/100 m²": "gram/(100*meter**2)",
    "L/min/√bar": "liter/minute/bar**0.5", "°C": "degC",
}  # fmt: skip
# Built from others in Pint's registry; its acre is of the US survey foot, 4 millionths larger than the trade's.
COMPOUND = {
    "acre": "43560*foot**2",
    "gallon_per_acre": "gallon/(43560*foot**2)",
    "gallon_per_minute": "gallon/minute",
    "liter_per_minute": "liter/minute",
    "kilometer_per_hour": "kilometer/hour",
}
# The base itself, temperatures (tested by value below), and the newton, which nobody types: it only builds the pascal.
BASE = ("meter", "kilogram", "second", "kelvin", "count", "newton", "degree_celsius", "degree_fahrenheit")
KIND_OF = {
    "[length]": "length",
    "[length] ** 2": "area",
    "[length] ** 3": "volume",
    "[time]": "time",
    "[mass]": "mass",
    "[length] / [time]": "speed",
    "[length] ** 3 / [time]": "flow",
    "1 / [time]": "frequency",
    "[mass] / [length] / [time] ** 2": "pressure",
    "dimensionless": "fraction",
}
SHOWN = [(system, kind) for system in UNITS for kind in UNITS[system]]


def size_in_si(expression: str, number: float = 1.0) -> float:
    """Size in m, kg, s and K of `number` units by Pint's default registry."""
    if expression.startswith("deg"):
        return PINT.Quantity(number, expression).to("kelvin").magnitude
    quantity = number * PINT.parse_expression(expression)
    return PINT.Quantity(quantity).to_base_units().magnitude


@pytest.mark.parametrize(("system", "kind"), SHOWN)
def test_every_shown_unit_agrees_with_the_default_registry_of_pint(system, kind):
    expression = IN_PINT[UNITS[system][kind].symbol]
    for number in (1.0, 37.5):
        assert to_user(size_in_si(expression, number), kind, system) == pytest.approx(number, rel=1e-12)


@pytest.mark.parametrize("name", [n for n in (line.split(" = ")[0] for line in DEFINITIONS) if n not in BASE])
def test_every_definition_agrees_with_the_default_registry_of_pint(name):
    expression = COMPOUND.get(name, name)
    quantity = PINT.Quantity(1, "") * PINT.parse_expression(expression)
    kind = "rate" if name == "gallon_per_acre" else KIND_OF[str(quantity.dimensionality)]
    spelling = next(word for word, target in SPELLINGS.items() if target == name and word not in BARE_OUNCES)
    assert parse_quantity(f"1 {spelling}", kind, "here") == pytest.approx(size_in_si(expression), rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("50 L", "volume", 0.050),
        ("20 in", "length", 0.508),
        ("20in", "length", 0.508),
        ("1 gal/1000 ft2", "rate", 4.0745833333333334e-5),
        ("1.0 gal/1000 ft²", "rate", 4.0745833333333334e-5),
        ("1 gal per 1000 sq ft", "rate", 4.0745833333333334e-5),
        ("1:05", "time", 65.0),
        ("00:54.3", "time", 54.3),
        ("0:55 s", "time", 55.0),
        ("1gal/1000sqft", "rate", 4.0745833333333334e-5),
        ("128fl oz/1000 sf", "rate", 4.0745833333333334e-5),
        ("43.56 GPA", "rate", 4.0745833333333334e-5),
        ("400 L/ha", "rate", 4e-5),
        ("4 L/100 m²", "rate", 4e-5),
        ("0.3 gpm", "flow", 0.3 * 3.785411784e-3 / 60),
        ("0.3 gal/min", "flow", 0.3 * 3.785411784e-3 / 60),
        ("450 /L", "pulses_per_volume", 450e3),
        ("450 pulses/L", "pulses_per_volume", 450e3),
        ("40 PSI", "pressure", 40 * 6894.757293168361),
        ("12 oz wt", "mass", 0.3401942775),
        ("12 fl. oz.", "volume", 12 * 29.5735295625e-6),
        ("12 fl oz", "volume", 12 * 29.5735295625e-6),
        ("68 °F", "temperature", 293.15),
        ("20 C", "temperature", 293.15),
        ("-4 °C", "temperature", 269.15),
        ("10 %", "fraction", 0.1),
        ("0.1", "fraction", 0.1),
        ("1.05 kg/L", "density", 1050.0),
        ("2 lb/acre", "mass_per_area", 2 * 0.45359237 / 4046.8564224),
        (" 2.5e0 mph ", "speed", 1.1176),
        # as people write them
        ("10,000 sq ft", "area", 929.0304),
        ("10,000 m2", "area", 1e4),
        ("12 566 ft²", "area", 12566 * 0.09290304),
        ("12\u202f566 m²", "area", 12566.0),
        ("1,234,567 mL", "volume", 1.234567),
        ("2,5 L", "volume", 2.5e-3),
        ("0,125 kg", "mass", 0.125),
        ("1,250.5 kg", "mass", 1250.5),
        ("1/2 acre", "area", 2023.4282112),
        ("1 1/2 gal", "volume", 5.678117676e-3),
        ("1-1/2 pt", "volume", 1.5 * 473.176473e-6),
        ("2½ gal", "volume", 2.5 * 3.785411784e-3),
        ("60'", "length", 18.288),
        ('20"', "length", 0.508),
        ("6' 8\"", "length", 2.032),
        ("6 ft 8 in", "length", 2.032),
        ("1 min 30 s", "time", 90.0),
        ("5 lb 4 oz", "mass", 5.25 * 0.45359237),
        ("2 tsp", "volume", 2 * 4.92892159375e-6),
        ("3 tbsp", "volume", 3 * 14.78676478125e-6),
        ("1 cup", "volume", 236.5882365e-6),
        ("3 fl oz/M", "rate", 3 * 29.5735295625e-6 / 92.90304),
        ("3 fl oz per 1000", "rate", 3 * 29.5735295625e-6 / 92.90304),
        ("1.5 pt/A", "rate", 1.5 * 473.176473e-6 / 4046.8564224),
        ("2 US gal", "volume", 2 * 3.785411784e-3),
        ("20 ºC", "temperature", 293.15),
        ("20 celsius", "temperature", 293.15),
        ("0.25 % v/v", "fraction", 0.0025),
        ("1.28", "ratio", 1.28),
        ("5 sq. yd.", "area", 5 * 0.83612736),
    ],
)
def test_text_is_read_as_its_si_value(text, kind, value):
    assert parse_quantity(text, kind, "here") == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("30 psi", "volume", "which is not a volume"),
        ("12 oz", "volume", 'Write "fl oz"'),
        ("20 in", "rate", "which is not a rate"),
        ("1 gal/1000 ft2", "length", "which is not a length"),
        ("nan L", "volume", "not a number"),
        ("inf L", "volume", "not a number"),
        ("1e999 L", "volume", "beyond any sensible size"),
        ("1e300 L", "volume", "beyond any sensible size"),
        ("1e-300 L", "volume", "beyond any sensible size"),
        ("1,500 kg", "mass", 'write "1500 kg" or "1.500 kg"'),
        ("1,50,0 L", "volume", "not a number"),
        ("5 oz", "mass", "of volume or of weight"),
        ("5 oz/acre", "mass_per_area", 'Write "fl oz" for a liquid'),
        ("5 oz/acre", "rate", 'Write "fl oz" for a liquid'),
        ("0.5 imp gal", "volume", "gallons here are US ones, 3.785 L"),
        ("5", "fraction", 'write "5 %" or "0.05"'),
        ("5 % %", "fraction", "stands there twice"),
        ("20 degrees", "temperature", 'write "20 °C"'),
        ("5 thousand ft2", "area", "write the number in digits"),
        ("3 L/M", "rate", "write the area with its unit"),
        ("1 ft 14 in 3 ft", "length", "the larger unit first"),
        ("60 ft 25 ft", "length", "the larger unit first"),
        ("1/0 gal", "volume", "divides by zero"),
        ("5 ML", "volume", '"ML" is not a unit here'),
        ("5 galz", "volume", 'did you mean "gal"?'),
        ("5", "volume", "without a unit"),
        ("L", "volume", "not a number"),
        ("", "volume", "is empty"),
        ("5 gal/", "rate", "nothing follows the slash"),
        ("5 °C/L", "temperature", "stands alone"),
        ("5 gal/ac/ac/__import__('os')", "rate", "is not a unit here"),
        ("9" * 500 + " L", "volume", "not a number"),
        (25, "volume", "give it as text"),
        (None, "volume", "give it as text"),
    ],
)
def test_what_cannot_be_read_gets_one_sentence_that_names_the_key(text, kind, says):
    with pytest.raises(UserError) as caught:
        parse_quantity(text, kind, "tank.volume in my.toml")
    sentence = str(caught.value)
    assert sentence.startswith("tank.volume in my.toml is ")
    assert says in sentence
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert len(sentence) < 250


@given(st.text(max_size=80), st.sampled_from(["volume", "rate", "temperature", "pressure", "fraction"]))
def test_no_text_at_all_breaks_the_reader(text, kind):
    try:
        value = parse_quantity(text, kind, "here")
    except UserError as error:
        assert str(error).startswith("here is ")
    else:
        assert math.isfinite(value)


@given(
    st.floats(1e-3, 1e4),
    st.sampled_from([(s, k) for s, k in SHOWN if k in ("volume", "rate", "flow", "pressure", "speed", "temperature")]),
)
def test_what_is_shown_can_be_typed_back(number, shown):
    system, kind = shown
    unit = UNITS[system][kind]
    si = parse_quantity(f"{number!r} {unit.symbol}", kind, "here")
    assert to_user(si, kind, system) == pytest.approx(number, rel=1e-9, abs=1e-9)


def test_values_are_shown_with_their_unit():
    assert format_value(4.1968e-5, "rate", "us") == "1.03 gal/1000 ft²"
    assert format_value(275790.29, "pressure", "us") == "40.0 psi"
    assert format_value(293.15, "temperature", "metric") == "20.0 °C"
    assert format_value(-1e-12, "pressure", "metric") == "0.00 bar"
    assert format_value(float("nan"), "flow", "metric") == "– L/min"
    assert format_value(None, "flow", "metric") == "– L/min"


def test_thousands_stand_apart_and_can_be_typed_back():
    assert format_value(12566 * 0.09290304, "area", "us") == "12,566 ft²"
    assert format_value(12566.0, "area", "metric") == "12\u202f566 m²"
    assert format_value(-1234.5, "length", "metric") == "-1\u202f234.5 m"
    for system, square_metres in (("us", 12566 * 0.09290304), ("metric", 12566.0)):
        typed_back = parse_quantity(format_value(square_metres, "area", system), "area", "here")
        assert typed_back == pytest.approx(square_metres)


def test_ounces_of_weight_are_taken_where_they_can_be_nothing_else():
    assert parse_quantity("12 oz", "mass", "the empty jug", ounces_of_weight=True) == pytest.approx(0.3401942775)
    with pytest.raises(UserError, match="of volume or of weight"):
        parse_quantity("12 oz", "volume", "the catch", ounces_of_weight=True)


def test_column_names_carry_the_unit_and_both_systems_show_the_same_kinds():
    assert column_name("flow", "flow", "us") == "flow_gal_per_min"
    assert column_name("rate", "rate", "us") == "rate_gal_per_1000_ft2"
    assert UNITS["us"].keys() == UNITS["metric"].keys()


def test_importing_units_and_formulas_loads_no_heavy_library():
    code = (
        "import sys, json, host.units, host.formulas; print(json.dumps(sorted({n.split('.')[0] for n in sys.modules})))"
    )
    loaded = set(json.loads(subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout))
    assert not loaded & {"pint", "pandas", "numpy", "scipy"}


def test_an_area_of_nothing_is_a_mistake_told_in_one_sentence():
    with pytest.raises(UserError, match="divides by zero"):
        parse_quantity("1.0 gal/000 ft2", "rate", "rig file: target.rate")


@pytest.mark.parametrize("value", [1e308, -1.7e308, 5e-324])
def test_a_number_that_its_unit_cannot_hold_is_shown_as_missing_or_nothing(value):
    for system, kinds in UNITS.items():
        for kind in kinds:
            shown = format_number(value, kind, system)
            assert shown == "–" or set(shown) <= set(f"0123456789.,-{NARROW_SPACE}")
            assert significant_decimals(value, kind, system) >= kinds[kind].decimals
