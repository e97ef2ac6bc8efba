"""The table of CARDS.md is that of the code: every part of every budget, its degrees, what it is shared with."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

import host.calibrate
from host.calibrate.boom import BoomCatch, Reading, catch_test
from host.calibrate.gauge_fit import fit_gauge
from host.calibrate.meter import MeterCatch, calibrate_meter
from host.calibrate.transducer import PressurePoint, calibrate_pressure
from host.calibrate.travel import calibrate_course, calibrate_wheel
from host.calibrate.uncertainty import Component
from host.calibrate.vessels import JUG, USUAL_GAUGE
from tests.host.calibrate.rigs import rig

COUNTS = {"catches": 6, "levels": 1, "points": 4, "laps": 3}


def boom(reading: Reading, *, one_by_one: bool = False) -> list[Component]:
    caught = BoomCatch(2e5, 60.0, (1.2e-3, 1.21e-3, 1.19e-3, 1.2e-3), (60.0,) * 4 if one_by_one else None)
    return list(catch_test([caught], rig(4), None, reading).results[0].uncertainty.components)


def budgets() -> dict[str, list[Component]]:
    catches = [MeterCatch(1000 + n, 2.31e-3, JUG, 50.0 if n < 3 else 25.0) for n in range(6)]
    shown = [0.0, 1e5, 2e5, 3e5]
    points = [PressurePoint(at, 1023 * (0.1 + 0.8 * at / 7e5)) for at in shown]
    pressure = calibrate_pressure(points, rig().pressure, 1023, USUAL_GAUGE)
    zero = calibrate_pressure(points[:1], rig().pressure, 1023, USUAL_GAUGE)
    by_board = boom(Reading(transducer_pa=1e3, transducer="line"))
    made = {
        "meter": calibrate_meter(catches).uncertainty,
        "pressure": pressure.uncertainty,
        "zero alone": zero.uncertainty,
        "wheel": calibrate_wheel(60.0, [500, 501, 499]).uncertainty,
        "course": calibrate_course(60.0, [50.0, 50.1, 49.9]).uncertainty,
    }
    return {kind: list(combined.components) for kind, combined in made.items()} | {
        "boom": boom(Reading(), one_by_one=True),
        "boom by the board": [part for part in by_board if part not in boom(Reading())],
        "compare, one gauge": fit_gauge(shown, shown, replace(USUAL_GAUGE), 7e5).parts(2e5, 2e5),
    }


def rows() -> list[tuple[str, str, str, str, str]]:
    text = (Path(host.calibrate.__file__).parent / "CARDS.md").read_text(encoding="utf-8")
    table = text[text.index("| calibration | part |") :].split("\n\n")[0].splitlines()[2:]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in table]
    return [(kind, part, degrees, even, shared) for kind, part, _, degrees, even, shared in cells]


def worth(degrees: str) -> float:
    """ "laps - 1 + 4" with the counts of this test."""
    signed = degrees.replace("- ", "-").split()
    numbers = (word.lstrip("-") for word in signed if word != "+")
    return sum(
        (-1 if word.startswith("-") else 1) * (math.inf if n == "∞" else float(COUNTS.get(n, n)))
        for word, n in zip([word for word in signed if word != "+"], numbers, strict=True)
    )


def test_every_part_is_in_the_table_and_no_other():
    assert {kind: {part.name for part in parts} for kind, parts in budgets().items()} == {
        kind: {name for at, name, *_ in rows() if at == kind} for kind in budgets()
    }
    assert {kind for kind, *_ in rows()} == set(budgets())


@pytest.mark.parametrize(("kind", "name", "degrees", "even", "shared"), rows())
def test_a_row_is_what_the_code_counts(kind, name, degrees, even, shared):
    part = next(part for part in budgets()[kind] if part.name == name)
    assert part.degrees == pytest.approx(worth(degrees))
    assert part.even == (even == "yes")
    assert part.shared.split(" ")[0] == shared
