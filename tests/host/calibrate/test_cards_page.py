"""The page on calibration cards, held against the code."""

import re
from importlib.resources import files

import pytest

from host.calibrate.cards import card_from_toml
from host.calibrate.kinds import KINDS, boom_checks, course, meter, pressure, wheel
from host.calibrate.meter import ASSUMED_REPEATABILITY
from host.calibrate.travel import PACE_SPREAD, SLIP
from host.calibrate.vessels import JUG, KITCHEN_BALANCE, TANK

PAGE = files("host.calibrate").joinpath("CARDS.md").read_text(encoding="utf-8")


def test_the_card_on_the_page_is_one():
    card = card_from_toml(re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL)[1])
    assert card.section.curve == ((0.0, pytest.approx(451411.6)),)


def test_kinds_and_assumptions_on_the_page_are_those_of_the_code():
    assert tuple(re.findall(r"`(\w+)`", re.search(r"Kinds: (.*?)\. ", PAGE)[1])) == tuple(kind.name for kind in KINDS)
    words = " ".join(PAGE.split())
    for said in (
        f"{100 * ASSUMED_REPEATABILITY:g} % repeatability",
        f"{100 * SLIP:g} % slip",
        f"{100 * PACE_SPREAD:g} % spread",
        f"a jug is read to {JUG.step_m3 * 1e6:g} mL and right to {100 * JUG.accuracy:g} %",
        f"a balance reads to {KITCHEN_BALANCE.step_m3 * 1e6:g} g and is right to {100 * KITCHEN_BALANCE.accuracy:g} %",
        f"tank marks are read to {TANK.step_m3 * 1e3:g} L and right to {100 * TANK.accuracy:g} %",
    ):
        assert said in words


def test_the_limits_on_the_page_are_those_of_the_code():
    rows = {cells[0].strip(): cells[1] for line in PAGE.splitlines() if len(cells := line.strip("|").split("|")) == 3}
    for what, shown in {
        "meter factor, beside a card": f"{100 * meter.BESIDE_CARD:g} %",
        "… beside the rig file": f"{100 * meter.BESIDE_RIG_FILE:g} %",
        "span of the transducer": f"{100 * pressure.SPAN_BEYOND:g} %",
        "its zero": f"{100 * pressure.ZERO_BEYOND:g} % of the span",
        "a point off the line": f"{pressure.POINT_BEYOND:g} × what",
        "distance per pulse": f"{100 * wheel.BEYOND:g} %",
        "a lap of the wheel off the mean": f"{100 * wheel.LAP_BEYOND:g} %",
        "… without a difference": f"{course.SLOWEST_M_S / 0.44704:.1f} to {course.FASTEST_M_S / 0.44704:.0f} mph",
        "a lap's time off the mean": f"{100 * course.LAP_BEYOND:g} %",
    }.items():
        assert shown in rows[what], what
    assert course.BEYOND == boom_checks.BEYOND == 0.5  # "half as fast again", "half as much again"
    assert meter.FLOW_BEYOND == 2.0  # "twice", "half"
