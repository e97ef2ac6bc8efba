"""A new calibration compared with what is in use: the question before its card is saved, with the likely slip named.

Limits and their reasons are in CARDS.md.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from host.units import FLUID_OUNCE_M3, FOOT_M, GALLON_M3, LITRE_M3, POUND_KG, PSI_PA

SLIP_WITHIN = 0.09  # natural logarithm: a slip is named when the ratio is this near to what it would make
_LITRES = GALLON_M3 / LITRE_M3  # in a gallon
_MILLILITRES = FLUID_OUNCE_M3 / 1e-6  # in a fluid ounce
_IMPERIAL = 4.54609 / 3.785411784  # gallons: UK Weights and Measures Act 1985, schedule 1; NIST Handbook 44, Appendix C


@dataclass(frozen=True)
class Slip:
    """A mistake that makes a result `ratio` times what it should be."""

    ratio: float
    name: str


def _both(ratio: float, larger: str, smaller: str) -> tuple[Slip, Slip]:
    return Slip(ratio, larger), Slip(1.0 / ratio, smaller)


# Slips by what they do to a typed amount, length, time or pressure.
DECIMALS = tuple(Slip(10.0**power, "a zero or a decimal point too many or too few") for power in (-3, -2, -1, 1, 2, 3))
VOLUMES = (
    *_both(_LITRES, "litres typed as gallons", "gallons typed as litres"),
    *_both(4.0, "quarts typed as gallons", "gallons typed as quarts"),
    *_both(8.0, "pints typed as gallons", "gallons typed as pints"),
    *_both(_MILLILITRES, "mL typed as fl oz", "fl oz typed as mL"),
    *_both(1.0 / POUND_KG, "lb typed as kg", "kg typed as lb"),
    Slip(1.0 / _IMPERIAL, "imperial gallons typed as US ones"),
    *_both(2.0, "an amount entered twice", "only half of the amount entered"),
)
LENGTHS = (
    *_both(1.0 / FOOT_M, "feet typed as metres", "metres typed as feet"),
    Slip(1.0 / 3.0, "yards typed as feet"),
    Slip(1.0 / (3.0 * FOOT_M), "yards typed as metres"),
    *_both(2.0, "a course half as long", "a course twice as long, or there and back in one lap"),
)
TIMES = _both(60.0, "seconds typed as minutes", "minutes typed as seconds")
PRESSURES = (
    *_both(1e5 / PSI_PA, "psi typed as bar", "bar typed as psi"),
    *_both(PSI_PA / 1e3, "kPa typed as psi", "psi typed as kPa"),
    *_both(100.0, "kPa typed as bar", "bar typed as kPa"),
)


def powers(slips: Iterable[Slip], exponent: float) -> tuple[Slip, ...]:
    """What the slips do to a result that goes with that power of the quantity they are made in."""
    return tuple(Slip(slip.ratio**exponent, slip.name) for slip in slips)


def likely_slip(ratio: float, slips: Iterable[Slip]) -> str:
    """The names of the slips that would explain a ratio, the nearest first; empty when none does."""
    apart = [(abs(math.log(ratio / slip.ratio)), slip.name) for slip in slips]
    near = dict.fromkeys(name for distance, name in sorted(apart) if distance < SLIP_WITHIN)
    return ", or ".join(list(near)[:3])


def is_beyond(ratio: float, limit: float) -> bool:
    """Whether a ratio of new to old departs by more than `limit`, a fraction: 0.1 is 10 % up, or as much down."""
    return abs(math.log(ratio)) > math.log1p(limit)


def size_of(ratio: float, more: str = "more", less: str = "less") -> str:
    """How a person says a ratio: "3.8 times fewer", "12 % more"."""
    times, word = max(ratio, 1.0 / ratio), more if ratio > 1.0 else less
    if times < 1.5:
        return f"{abs(100.0 * (ratio - 1.0)):.0f} % {word}"
    rounded = float(f"{times:.2g}")
    return f"{rounded:,.0f} times {word}" if rounded >= 10 else f"{rounded:.1f} times {word}"


def question(statement: str, ratio: float, slips: Iterable[Slip], otherwise: str = "check units and digits") -> str:
    """The question before a card: what is odd, then the likely slip, or else what to check."""
    slip = likely_slip(ratio, slips)
    return f"{statement}: {slip}?" if slip else f"{statement}: {otherwise}."
