"""What is asked about a catch test before its card is saved, and when it is a measurement and no standard."""

from __future__ import annotations

import statistics

from host.calibrate.boom import BoomTest
from host.calibrate.boom_card import boom_card
from host.calibrate.cards import active_card
from host.calibrate.checks import DECIMALS, PRESSURES, TIMES, VOLUMES, is_beyond, powers, question, size_of
from host.calibrate.kinds.boom_document import bad_nozzles, is_odd
from host.calibrate.kinds.kind import Job
from host.errors import DamagedFileError
from host.units import format_value

BEYOND = 0.5  # of the rating or of the test before: see CARDS.md


def boom_questions(test: BoomTest, job: Job) -> list[str]:
    """Flows that no tip of this boom gives, beside its rating and the active test: one question for the first."""
    slips = (*VOLUMES, *powers(TIMES, -1), *powers(PRESSURES, -0.5), *DECIMALS)
    for result in test.results:
        at = format_value(result.catch.pressure_pa, "pressure", job.rig.units)
        middle = 1.0 + statistics.median(nozzle.wear for nozzle in result.nozzles)
        compared = [(middle, "their rating")]
        if (before := _before(job, result.catch.pressure_pa)) is not None:
            compared.append((result.total_coefficient / before, f"in the test of {job.source('boom')}"))
        for ratio, beside in compared:
            if is_beyond(ratio, BEYOND):
                statement = f"At {at} the nozzles give {size_of(ratio, 'more', 'less')} than {beside}"
                return [
                    question(statement, ratio, slips, "check amounts, time and pressure, and the tips in the rig file")
                ]
    return []


def _before(job: Job, pressure_pa: float) -> float | None:
    """The whole boom's coefficient in the active test of as many nozzles."""
    card = active_card(job.cards, "boom")
    if card is None:
        return None
    try:
        test = boom_card(card)
    except DamagedFileError:  # there is nothing to compare with
        return None
    return test.coefficient(pressure_pa) if test.nozzles == job.rig.nozzles.count else None


def not_standard(test: BoomTest, job: Job) -> str:
    """Why later runs are not compared with it; empty for a sound boom."""
    if not is_odd(test):
        return ""
    bad = bad_nozzles(test)
    names = f"nozzle {bad[0]}" if len(bad) == 1 else f"nozzles {', '.join(map(str, bad))}"
    what = f"put {names} right and catch again" if bad else "find out why and catch again"
    beside = (
        f"go on being compared with {job.source('boom')}" if job.has_card("boom") else "are compared with no test yet"
    )
    return f"This boom is not sound, so the test is a measurement and no standard: {what}. Runs {beside}."
