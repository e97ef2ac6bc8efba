"""The units the trade writes, as definitions for Pint, and the spellings people use for them.

A registry of our own instead of Pint's default one, for two reasons: it is built in 3 ms instead of 300, and it knows
nothing that a sprayer does not, so that a slip such as "gal/ac" can never be read as some other unit of physics.
Sources of the factors, all exact: NIST Handbook 44, Appendix C (inch, foot, acre, gallon, pound) and NIST SP 811,
Appendix B (standard gravity, bar). `tests/host/test_units.py` holds every one against Pint's own default registry.
"""

from __future__ import annotations

DEFINITIONS = (
    "meter = [length]",
    "kilogram = [mass]",
    "second = [time]",
    "kelvin = [temperature]; offset: 0",
    "count = []",
    "percent = 0.01",
    "centimeter = 0.01 * meter",
    "millimeter = 0.001 * meter",
    "kilometer = 1000 * meter",
    "inch = 0.0254 * meter",
    "foot = 0.3048 * meter",
    "yard = 0.9144 * meter",
    "mile = 1609.344 * meter",
    "acre = 43560 * foot ** 2",
    "are = 100 * meter ** 2",
    "hectare = 10000 * meter ** 2",
    "liter = 0.001 * meter ** 3",
    "milliliter = 0.001 * liter",
    "centiliter = 0.01 * liter",
    "gallon = 231 * inch ** 3",
    "quart = gallon / 4",
    "pint = gallon / 8",
    "fluid_ounce = gallon / 128",
    "cup = gallon / 16",
    "tablespoon = fluid_ounce / 2",
    "teaspoon = fluid_ounce / 6",
    "minute = 60 * second",
    "hour = 3600 * second",
    "millisecond = 0.001 * second",
    "gram = 0.001 * kilogram",
    "milligram = 0.001 * gram",
    "pound = 0.45359237 * kilogram",
    "ounce = pound / 16",
    "newton = kilogram * meter / second ** 2",
    "pascal = newton / meter ** 2",
    "kilopascal = 1000 * pascal",
    "bar = 100000 * pascal",
    "psi = pound * 9.80665 * meter / second ** 2 / inch ** 2",
    "hertz = count / second",
    "kilohertz = 1000 * hertz",
    "mile_per_hour = mile / hour",
    "kilometer_per_hour = kilometer / hour",
    "gallon_per_minute = gallon / minute",
    "liter_per_minute = liter / minute",
    "gallon_per_acre = gallon / acre",
    "degree_celsius = kelvin; offset: 273.15",
    "degree_fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9",
)

# Spelling -> name in DEFINITIONS. Case counts where capitals change the meaning (ML is not mL); otherwise the
# reader in host.unit_text also tries lower case.
SPELLINGS = {
    "m": "meter", "meter": "meter", "meters": "meter", "metre": "meter", "metres": "meter",
    "cm": "centimeter", "mm": "millimeter", "km": "kilometer",
    "in": "inch", "inch": "inch", "inches": "inch", '"': "inch",
    "ft": "foot", "foot": "foot", "feet": "foot", "'": "foot", "yd": "yard", "yard": "yard", "yards": "yard",
    "mi": "mile", "mile": "mile", "miles": "mile",
    "ac": "acre", "acre": "acre", "acres": "acre", "A": "acre", "are": "are", "ares": "are",
    "ha": "hectare", "hectare": "hectare", "hectares": "hectare",
    "L": "liter", "l": "liter", "liter": "liter", "liters": "liter", "litre": "liter", "litres": "liter",
    "mL": "milliliter", "ml": "milliliter", "cc": "milliliter", "cL": "centiliter", "cl": "centiliter",
    "gal": "gallon", "gals": "gallon", "gallon": "gallon", "gallons": "gallon",
    "qt": "quart", "qts": "quart", "quart": "quart", "quarts": "quart",
    "pt": "pint", "pts": "pint", "pint": "pint", "pints": "pint", "cup": "cup", "cups": "cup", "floz": "fluid_ounce",
    "tbsp": "tablespoon", "tablespoon": "tablespoon", "tablespoons": "tablespoon",
    "tsp": "teaspoon", "teaspoon": "teaspoon", "teaspoons": "teaspoon",
    "s": "second", "sec": "second", "secs": "second", "second": "second", "seconds": "second",
    "ms": "millisecond", "min": "minute", "mins": "minute", "minute": "minute", "minutes": "minute",
    "h": "hour", "hr": "hour", "hrs": "hour", "hour": "hour", "hours": "hour",
    "g": "gram", "gram": "gram", "grams": "gram", "mg": "milligram", "kg": "kilogram",
    "lb": "pound", "lbs": "pound", "pound": "pound", "pounds": "pound",
    "oz": "ounce", "ounce": "ounce", "ounces": "ounce", "ozwt": "ounce",
    "Pa": "pascal", "kPa": "kilopascal", "bar": "bar", "psi": "psi",
    "Hz": "hertz", "hz": "hertz", "kHz": "kilohertz",
    "mph": "mile_per_hour", "kph": "kilometer_per_hour", "kmh": "kilometer_per_hour",
    "gpm": "gallon_per_minute", "lpm": "liter_per_minute", "gpa": "gallon_per_acre",
    "pulse": "count", "pulses": "count", "count": "count", "counts": "count",
    "°C": "degree_celsius", "C": "degree_celsius", "degC": "degree_celsius", "celsius": "degree_celsius",
    "°F": "degree_fahrenheit", "F": "degree_fahrenheit", "degF": "degree_fahrenheit",
    "fahrenheit": "degree_fahrenheit", "K": "kelvin",
    "%": "percent", "percent": "percent",
}  # fmt: skip

# Bare ounces may be of weight or of volume: the reader asks.
BARE_OUNCES = frozenset({"oz", "ounce", "ounces"})
# Names of the units that are written with commas before three digits and never with a decimal comma.
US_UNITS = frozenset({
    "inch", "foot", "yard", "mile", "acre", "gallon", "quart", "pint", "fluid_ounce", "cup", "tablespoon", "teaspoon",
    "pound", "ounce", "psi", "mile_per_hour", "gallon_per_minute", "gallon_per_acre", "degree_fahrenheit",
})  # fmt: skip

_IMPERIAL = "gallons here are US ones, 3.785 L; an imperial gallon is 4.546 L, 1.201 US gallons: convert it"
# Words that people write and that are no unit here -> what to write instead.
NOT_TAKEN = {
    "imp": _IMPERIAL, "imperial": _IMPERIAL, "uk": _IMPERIAL, "british": _IMPERIAL,
    "ai": 'leave out "ai" and give the strength of the product apart', "a.i.": 'leave out "a.i." and give the strength '
    "of the product apart", "deg": 'write "20 °C" or "68 °F"', "degree": 'write "20 °C" or "68 °F"',
    "degrees": 'write "20 °C" or "68 °F"', "°": 'write "20 °C" or "68 °F"', "ppm": "write it as a share, in %",
    "ton": "write it in lb or kg", "tons": "write it in lb or kg", "thousand": "write the number in digits",
    "k": "write the number in digits", "drops": "write it in mL", "cap": "measure it, then write it in mL or fl oz",
    "caps": "measure it, then write it in mL or fl oz", "capful": "measure it, then write it in mL or fl oz",
}  # fmt: skip
