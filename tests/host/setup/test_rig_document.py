"""A sprayer as a result: its figures by the trade's own formulas, what does not fit, and all four renderings."""

from __future__ import annotations

from pathlib import Path

import pytest

from host.documents.document import Facts
from host.documents.json import to_json
from host.rig import load_rig, rig_from_toml
from host.setup.rig_document import rig_document
from tests.host.documents.faces import assert_all_faces_say_the_same

EXAMPLES = Path(__file__).parents[3] / "host/rig/examples"
WHEEL = """
name = "Bench"
[tank]
volume = "10 gal"
[boom]
nozzles = 3
spacing = "20 in"
[nozzle]
flow = "0.30 gpm"
at = "40 psi"
[meter]
factor = "450 /L"
[pressure]
span = ["0 psi", "100 psi"]
[wheel]
circumference = "4 ft"
pulses_per_turn = 8
[target]
rate = "1 gal/1000 ft2"
"""
COURSE = WHEEL.replace(
    '[wheel]\ncircumference = "4 ft"\npulses_per_turn = 8', '[course]\ndistance = "88 ft"\ntime = "30 s"'
)


def document(toml: str):
    return rig_document(rig_from_toml(toml))


def warnings(toml: str) -> str:
    (section,) = (each for each in document(toml).sections if each.key == "fit")
    return " ".join(message.text for block in section.blocks for message in block.messages)


@pytest.mark.parametrize("name", ["harrow-lea-pull-behind.toml", "harrow-lea-walker.toml"])
def test_every_rendering_says_the_same(name: str) -> None:
    assert_all_faces_say_the_same(rig_document(load_rig(EXAMPLES / name), due="in spring", bringup="good"))


def test_the_answer_is_the_trades_own_formula() -> None:
    # gal/1000 ft² = 136 × gal/min of one nozzle / (mph × spacing in inches): turf bulletins; 136.36 unrounded.
    speed = 136.36 * 0.30 / (1.0 * 20)
    assert document(WHEEL).answer == f"This sprayer puts out 1.00 gal/1000 ft² at 40.0 psi and {speed:.2f} mph."
    # 88 ft in 30 s is 2 mph (88 ft/min is 1 mph); the pressure goes with the square of the flow.
    flow = 1.0 * 2.0 * 20 / 136.36
    said = f"This sprayer puts out 1.00 gal/1000 ft² at {40 * (flow / 0.30) ** 2:.1f} psi and 2.00 mph."
    assert document(COURSE).answer == said


def test_figures_of_the_example() -> None:
    found = rig_document(load_rig(EXAMPLES / "harrow-lea-pull-behind.toml"))
    facts = {
        (section.key, fact.label): fact.value.text if hasattr(fact.value, "text") else fact.value
        for section in found.sections
        for block in section.blocks
        if isinstance(block, Facts)
        for fact in block.facts
    }
    assert facts["boom", "Width of one pass"] == "6.7 ft"  # 4 × 20 in / 12
    # 43 560 ft² to the acre and 3.785 411 784 L to the gallon: NIST Handbook 44, Appendix C.
    assert facts["target", "The same"] == "43.6 gal/acre"
    assert facts["tank", "Area per tank"] == "25,000 ft²"
    assert facts["meter", "Factor"] == "1,703.4 pulses/gal"
    assert facts["travel", "One pulse of the wheel"] == f"{12 / 2.54:.2f} in"
    assert to_json(found)["boom"]["nozzles"] == 4


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('"1 gal/1000 ft2"', '"40 gal/1000 ft2"'), "nobody sprays so slowly"),
        (('"1 gal/1000 ft2"', '"0.1 gal/1000 ft2"'), "nobody sprays so fast"),
        (('"450 /L"', '"9 /L"'), "the rate follows slowly"),
        (('factor = "450 /L"', 'factor = "450 /L"\nsensor = "contact"'), "the board takes 15 from a contact sensor"),
        (("pulses_per_turn = 8", 'pulses_per_turn = 80\nsensor = "reed"'), "board takes 40 from a reed sensor"),
        (("pulses_per_turn = 8", "pulses_per_turn = 1"), "more magnets"),
        (('["0 psi", "100 psi"]', '["0 psi", "30 psi"]'), "The transducer ends at 30.0 psi"),
        (('["0 psi", "100 psi"]', '["0 psi", "1000 psi"]'), "coarse for this boom"),
        (('spacing = "20 in"', 'spacing = "20 in"\nswath = "12 ft"'), "check which one is right"),
        (('"10 gal"', '"0.5 gal"'), "empty after 33 s"),
        (('at = "40 psi"', 'at = "40 psi"\nrange = ["50 psi", "60 psi"]'), "outside the pressures"),
        (("[boom]", '[pump]\nopen_flow = "1 gpm"\nshutoff_pressure = "50 psi"\n[boom]'), "cannot hold 40.0 psi"),
        (("[boom]", '[pump]\npoints = [["0 psi", "9 gpm"]]\nswitch_pressure = "30 psi"\n[boom]'), "switch turns"),
    ],
)
def test_what_does_not_fit_is_said(change: tuple[str, str], words: str) -> None:
    assert "All parts fit each other." in warnings(WHEEL)
    changed = WHEEL.replace(*change)
    assert changed != WHEEL
    assert words in warnings(changed)


def test_a_course_beyond_the_tips_is_said() -> None:
    slow = COURSE.replace("88 ft", "20 ft").replace('at = "40 psi"', 'at = "40 psi"\nrange = ["20 psi", "60 psi"]')
    assert "At the speed of your course it puts out" in warnings(slow)
    assert document(slow).level == "warning"
