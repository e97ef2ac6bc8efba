"""A run against a catch test of the same rig, and two runs against each other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from host.calibrate.boom_card import BoomCard, against, as_shown, run_over_catch
from host.calibrate.cards import Card, load_cards
from host.calibrate.shared_errors import meter_parts, pressure_parts
from host.calibrate.uncertainty import Combined, Component, combine, pooled
from host.documents.words import percent
from host.errors import BadInputError, NotFoundError
from host.pipeline import Pass
from host.review.deciding import would_decide
from host.review.review import Review
from host.review.sound_passes import passes_words, sound_passes
from host.review.steady import Steady, steady_of
from host.rig.model import DAY_TO_DAY
from host.units import format_value, rounded_up

AGREES = "agrees"
WORN_OR_DRIFTED = "nozzles worn or meter drifted"
CLOGGED = "partly clogged"
CLOGGED_IN_PASSES = "clogged in some passes"
CATCH_AGAIN = "repeat the catch test"
NO_CHANGE, CHANGED = "no change", "changed"

# An expanded uncertainty of more than the usual 10 % for a faulty nozzle (LSU AgCenter, "Sprayer Calibration") shows
# nothing that matters.
_TOO_VAGUE = 0.10
_RESTLESS = 0.05  # scatter of passes that is no scatter
_DEFAULT_SCATTER = 0.007  # of the passes of a run: assumed, counts with what they show


class NoCatchTestError(NotFoundError):
    """There is no catch test to hold a run against."""


@dataclass(frozen=True)
class Comparison:
    """Measured over expected, its uncertainty for 95 % (relative to 1), the verdict, and what to do, in a sentence."""

    ratio: float
    uncertainty: Combined
    verdict: str
    advice: str
    remarks: tuple[str, ...] = ()


def catch_before(review: Review, cards: Path) -> Card:
    """The card of the newest catch test of the run's rig made before the run; the oldest when there is none before.

    A run says nothing against a test made after nozzles were changed. Raises UserError when the folder `cards` holds no
    catch test of the rig, or a card cannot be read.
    """
    tests = [card for card in load_cards(cards, review.rig.name) if card.kind == "boom"]
    if not tests:
        raise NoCatchTestError(
            f"there is no catch test of {review.rig.name!r} in {cards}: make one, or compare with another run"
        )
    started = review.started
    if started is None:
        return tests[0]
    begun = started if started.tzinfo else started.astimezone()
    return next((card for card in reversed(tests) if card.made <= begun), tests[0])


def run_against_catch(review: Review, catch: BoomCard) -> Comparison:
    """Flow of the run at its pressure against what the nozzles gave in the catch test.

    The ratio of the two orifice coefficients Q/√P; uncertainties combined after GUM 5.1.2, coverage by G.4.1.
    Raises UserError when the run has no steady spraying with a known pressure.
    """
    sound, spoilt = sound_passes(review)
    steady = _steady(review, sound or review.passes)
    if catch.nozzles != review.rig.nozzles.count:
        raise BadInputError(
            f"the catch test has {catch.nozzles} nozzles and the run's rig {review.rig.nozzles.count}: "
            "compare with a catch test of this boom"
        )
    catch = as_shown(catch, review.rig.pressure, review.cards)
    ratio = steady.coefficient / catch.coefficient(steady.pressure_pa)
    repeat, remarks = _repeatability(steady, "run")
    parts = run_over_catch(catch, review.rig, review.cards, _frequency(review, steady), steady.pressure_pa)
    combined = combine([*parts, repeat])
    low, high = catch.points[0][0], catch.points[-1][0]
    if not 0.7 * low <= steady.pressure_pa <= 1.4 * high:
        remarks += ("the run's pressure is far from that of the catch test",)
    remarks += _about_gauge(catch, review.rig.units)
    verdict, advice = judged(ratio, combined.expanded, catch.nozzles)
    if verdict in (AGREES, CATCH_AGAIN):
        frequency = _frequency(review, steady)
        better = would_decide(catch, review.rig, review.cards, frequency, steady.pressure_pa, repeat)
        remarks += (better,) if better else ()
    if sound and spoilt:
        return Comparison(ratio, combined, *_in_passes(review, sound, spoilt, steady, verdict, advice), remarks)
    return Comparison(ratio, combined, verdict, advice, remarks)


def _about_gauge(catch: BoomCard, system: str) -> tuple[str, ...]:
    """What the gauge of the catch test is seen to be off."""
    if catch.fit is not None and abs(catch.fit.gauge_pa) > 2.0 * catch.fit.gauge_u_pa:
        off = format_value(abs(catch.fit.gauge_pa), "pressure", system)
        way = "high" if catch.fit.gauge_pa > 0 else "low"
        return (f"the gauge seems to read about {off} too {way}, by the zero of the transducer: that is taken out",)
    return ()


def _in_passes(
    review: Review, sound: list[Pass], spoilt: list[Pass], steady: Steady, verdict: str, advice: str
) -> tuple[str, str]:
    """Verdict and advice where some passes differ from the others: these first, then how the others stand."""
    other = steady_of(review.track, spoilt, review.rig)
    share = 1.0 - other.coefficient / steady.coefficient if other else 0.0
    worth = share * review.rig.nozzles.count
    what = f"clogged nozzle in {passes_words(spoilt)}, about {worth:.1f} nozzles' worth" if worth > 0.3 else ""
    what = what or f"{passes_words(spoilt)} left out: a fault was called there"
    others = "the other one agrees" if len(sound) == 1 else f"the other {len(sound)} agree"
    rest = f"{others} with the catch test" if verdict == AGREES else f"of the others: {advice}"
    return (CLOGGED_IN_PASSES if worth > 0.3 else verdict), f"{what}; {rest}"


def judged(ratio: float, expanded: float, nozzles: int) -> tuple[str, str]:
    """Verdict and advice for a ratio run/catch with a relative expanded uncertainty."""
    more = f"{percent(abs(ratio - 1), 1)} {'more' if ratio > 1 else 'less'}"
    off = f"{more} than the catch test, known to ± {percent(rounded_up(expanded, 3), 1)}"
    if expanded > _TOO_VAGUE:
        return CATCH_AGAIN, f"{off}: too uncertain to tell from this run; calibrate the meter and repeat the catch test"
    if abs(math.log(ratio)) <= expanded:  # the same upward and downward
        return AGREES, f"{off}: no difference found"
    if ratio > 1.0:
        return (
            WORN_OR_DRIFTED,
            f"{off}: the nozzles are worn, something leaks behind the meter, or the meter has drifted; one run cannot "
            "tell which; the next catch test decides",
        )
    blocked = (nozzles - 1) / nozzles
    hint = f" ({percent(blocked)} would be one of {nozzles} nozzles shut)" if nozzles > 1 and ratio < 0.95 else ""
    return (
        CLOGGED,
        f"{off}{hint}: tips or their strainers are partly clogged, or the meter reads low; with the pump off and the "
        "pressure let off clean them, then repeat the catch test",
    )


def run_against_run(earlier: Review, later: Review) -> Comparison:
    """The later run's orifice coefficient over the earlier one's, such as before and after cleaning.

    What both have in common cancels (GUM 5.2.2, full correlation): with the same meter and transducer calibration
    only repeatability is left. Raises UserError as `run_against_catch`.
    """
    if earlier.rig.nozzles.count != later.rig.nozzles.count:
        counts = f"{earlier.rig.nozzles.count} and {later.rig.nozzles.count} nozzles"
        raise BadInputError(f"the two runs were sprayed with {counts}: compare runs of one boom")
    before, after = _steady(earlier), _steady(later)
    ratio = after.coefficient / before.coefficient
    first, remarks = _repeatability(before, "earlier run")
    second, more = _repeatability(after, "later run")
    more += _left_out(earlier, "earlier run") + _left_out(later, "later run")
    parts = [first, second]
    if earlier.rig.meter == later.rig.meter and earlier.rig.pressure == later.rig.pressure:
        # Of one transducer's error at two pressures, something is left.
        assert later.rig.pressure is not None
        left = 0.5 * (
            float(later.rig.pressure.uncertainty_at(after.pressure_pa)) / after.pressure_pa
            - float(later.rig.pressure.uncertainty_at(before.pressure_pa)) / before.pressure_pa
        )
        parts.append(Component("transducer at two pressures", abs(left)))
        parts += [Component(f"{name}, from day to day (assumed)", DAY_TO_DAY) for name in ("earlier run", "later run")]
    else:
        parts += [*_calibration_parts(later, after), *against(_calibration_parts(earlier, before))]
    combined = combine(parts)
    change = f"{percent(abs(ratio - 1), 1)} {'more' if ratio > 1 else 'less'} flow at the same pressure, known to ± "
    change += f"{percent(rounded_up(combined.expanded, 3), 1)}"
    if abs(math.log(ratio)) <= combined.expanded:
        return Comparison(ratio, combined, NO_CHANGE, f"{change}: no change found", remarks + more)
    what = "more opening: cleaned, worn, or the meter drifted" if ratio > 1 else "less: clogging, or the meter drifted"
    return Comparison(ratio, combined, CHANGED, f"{change}; {what}", remarks + more)


def _steady(review: Review, passes: Sequence[Pass] | None = None) -> Steady:
    """Of these passes; of those in which the boom was sound, or all if it was in none, when none are given."""
    steady = steady_of(review.track, list(passes or sound_passes(review)[0] or review.passes), review.rig)
    if steady is None:
        which = "another run" if review.rig.pressure else "a run of a rig with a transducer"
        raise BadInputError(
            f"{review.run.path.name} has no five seconds of steady spraying with a known pressure: compare {which}"
        )
    return steady


def _frequency(review: Review, steady: Steady) -> float:
    """About the meter's pulse frequency (Hz)."""
    return steady.flow_m3_s * float(review.rig.meter.curve[0][1])


def _calibration_parts(review: Review, steady: Steady) -> list[Component]:
    rig = review.rig
    meter = meter_parts(rig.meter, review.cards, _frequency(review, steady))
    assert rig.pressure is not None  # a steady run has a transducer
    return [*meter, *pressure_parts(rig.pressure, review.cards, steady.pressure_pa)]


def _left_out(review: Review, name: str) -> tuple[str, ...]:
    sound, spoilt = sound_passes(review)
    if not (sound and spoilt):
        return ()
    return (f"{name}: {passes_words(spoilt)} left out, the boom was not sound there: look at its faults",)


def _repeatability(steady: Steady, name: str) -> tuple[Component, tuple[str, ...]]:
    scatter, degrees = pooled(0.0 if steady.passes < 2 else steady.scatter, steady.passes - 1, _DEFAULT_SCATTER)
    repeat = Component(f"{name}: scatter of its passes", scatter / math.sqrt(steady.passes), degrees)
    if steady.passes < 2:
        return repeat, (f"{name}: one pass only, its scatter is taken as {percent(_DEFAULT_SCATTER, 1)}",)
    differ = f"its passes differ by {percent(steady.scatter)}"
    remark = f"{name}: {differ}, so something changed during the run: look at its faults"
    restless = (remark,) if steady.scatter > _RESTLESS else ()
    return repeat, restless
