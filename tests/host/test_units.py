import json
import math
import subprocess
import sys

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.errors import UserError
from host.unit_definitions import DEFINITIONS, SPELLINGS
from host.units import UNITS, column_name, format_value, parse_quantity, to_user

PINT = pint.UnitRegistry()

# What each shown unit is in the words of Pint's own default registry.
IN_PINT = {
    "ft": "foot", "in": "inch", "ft²": "foot**2", "acres": "international_foot**2 * 43560", "gal": "gallon",
    "fl oz": "fluid_ounce", "s": "second", "mph": "mile/hour", "gal/min": "gallon/minute", "psi": "psi",
    "gal/1000 ft²": "gallon/(1000*foot**2)", "gal/acre": "gallon/(43560*foot**2)",
    "fl oz/1000 ft²": "fluid_ounce/(1000*foot**2)", "pulses/gal": "1/gallon", "Hz": "1/second", "lb": "pound",
    "oz": "ounce", "lb/gal": "pound/gallon", "lb/acre": "pound/(43560*foot**2)", "oz/1000 ft²": "ounce/(1000*foot**2)",
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
    spelling = next(word for word, target in SPELLINGS.items() if target == name)
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
        ("43.56 GPA", "rate", 4.0745833333333334e-5),
        ("400 L/ha", "rate", 4e-5),
        ("4 L/100 m²", "rate", 4e-5),
        ("0.3 gpm", "flow", 0.3 * 3.785411784e-3 / 60),
        ("0.3 gal/min", "flow", 0.3 * 3.785411784e-3 / 60),
        ("450 /L", "pulses_per_volume", 450e3),
        ("450 pulses/L", "pulses_per_volume", 450e3),
        ("40 PSI", "pressure", 40 * 6894.757293168361),
        ("12 oz", "mass", 0.3401942775),
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
    ],
)
def test_text_is_read_as_its_si_value(text, kind, value):
    assert parse_quantity(text, kind, "here") == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("30 psi", "volume", "which is not a volume"),
        ("12 oz", "volume", 'write "fl oz"'),
        ("20 in", "rate", "which is not a rate"),
        ("1 gal/1000 ft2", "length", "which is not a length"),
        ("nan L", "volume", "not a number"),
        ("inf L", "volume", "not a number"),
        ("1e999 L", "volume", "beyond any sensible size"),
        ("1,5 L", "volume", "no comma"),
        ("5 ML", "volume", '"ML" is not a unit here'),
        ("5 galz", "volume", 'did you mean "gal"?'),
        ("5", "volume", "without a unit"),
        ("L", "volume", "not a number"),
        ("", "volume", "not a number"),
        ("1 1/2 gal", "volume", "one decimal number"),
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
    with pytest.raises(UserError, match="divides by nothing"):
        parse_quantity("1.0 gal/000 ft2", "rate", "rig file: target.rate")
