"""What would make a comparison with a catch test show a small loss: computed from the parts of its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from statistics import NormalDist

from host.calibrate.boom_card import BoomCard, run_over_catch
from host.calibrate.budget import improvement
from host.calibrate.cards import Card
from host.calibrate.shared_errors import line_of
from host.calibrate.uncertainty import Component, combine
from host.rig import Rig
from host.units import PSI_PA, format_value

LOSS = 0.03  # of the boom's flow: what a comparison is to show
SHOWN_IN = 0.8  # of the runs that lost as much
_MORE = 6  # catches that somebody may still make
_STEPS_PA = {"us": 5.0 * PSI_PA, "metric": 0.5e5}


def shows_loss(parts: Iterable[Component]) -> bool:
    """Whether a loss of `LOSS` is called in `SHOWN_IN` of the runs, for these parts: the power of the test."""
    whole = combine(parts)
    return -math.log1p(-LOSS) >= whole.expanded + NormalDist().inv_cdf(SHOWN_IN) * whole.standard


def would_decide(
    test: BoomCard, rig: Rig, cards: Iterable[Card], frequency_hz: float, pressure_pa: float, repeat: Component
) -> str:
    """The least that would show such a loss, in words; empty where it shows as it is.

    The test is `as_shown`; the run counted at a pulse frequency and read a pressure, `repeat` is its own scatter.
    """
    cards = list(cards)

    def shows(other: BoomCard, at_pa: float) -> bool:
        return shows_loss([*run_over_catch(other, rig, cards, frequency_hz, at_pa), repeat])

    if shows(test, pressure_pa):
        return ""
    loss = f"a loss of {100 * LOSS:.0f} % would show in {100 * SHOWN_IN:.0f} of 100 runs"
    place = test.nearest(pressure_pa)
    for more in range(1, _MORE + 1):
        if shows(test.with_more(place, more), pressure_pa):
            catches = "one more catch" if more == 1 else f"{more} more catches"
            at = format_value(test.points[place][0], "pressure", rig.units)
            return f"{loss} after {catches} of all nozzles at {at}, the pressure set anew for each"
    ways = []
    assert rig.pressure is not None
    line = line_of(rig.pressure)
    if test.transducer != line and shows(replace(test, fit=None, transducer=line), pressure_pa):
        ways.append("if the board reads the pressure in the catch test")
    for higher_pa in _higher(pressure_pa, rig):
        if shows(test.caught_at(place, higher_pa), higher_pa):
            ways.append(f"from {format_value(higher_pa, 'pressure', rig.units)} up, in catch test and run")
            break
    if ways:
        return f"{loss} {', or '.join(ways)}"
    largest = combine([*run_over_catch(test, rig, cards, frequency_hz, pressure_pa), repeat]).largest.name
    better = improvement(largest.removeprefix("catch: "))
    return f"a loss of {100 * LOSS:.0f} % would not show, however often you catch; largest part, {largest}: {better}"


def _higher(pressure_pa: float, rig: Rig) -> Iterator[float]:
    """Pressures to spray at above this one, in steps that are set, within what the transducer was calibrated for."""
    assert rig.pressure is not None
    step, top = _STEPS_PA[rig.units], 2.0 * (rig.pressure.highest_pa or 0.0)
    number = math.floor(pressure_pa / step) + 1
    while number * step <= min(top, rig.pressure.high_pa):
        yield number * step
        number += 1
