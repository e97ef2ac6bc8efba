"""Whatever answers are accepted, the rig file written of them is read back as the rig that they describe."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.entries import WrongEntriesError
from host.errors import UserError
from host.rig import load_rig, rig_from_toml
from host.setup.answers import answers_from_tree, rig_from_answers
from host.setup.questions import GROUPS, QUESTIONS
from host.unit_text import parse_quantity

HERE = Path(__file__).parents[3]
FILES = [*sorted((HERE / "host/rig/examples").glob("*.toml")), *sorted((HERE / "tests/samples/rigs").glob("*.toml"))]
GOOD = {
    "name": "Bench",
    "nozzles": "3",
    "spacing": "20 in",
    "tip_flow": "0.30 gpm",
    "tip_at": "40 psi",
    "tank": "12 gal",
    "factor": "450 pulses/L",
    "circumference": "4 ft",
    "magnets": "8",
    "span_high": "100 psi",
    "rate": "1.0 gal/1000 ft²",
}


def wrong(**answers: str) -> dict[str, str]:
    with pytest.raises(WrongEntriesError) as raised:
        rig_from_answers(GOOD | answers)
    return raised.value.sentences


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_a_rig_file_opened_and_saved_unchanged_is_the_same_rig(path: Path) -> None:
    before = load_rig(path)
    tree = tomllib.loads(path.read_text(encoding="utf-8"))
    after = rig_from_answers(answers_from_tree(tree), tree)
    assert replace(after, toml="") == replace(before, toml="")
    assert answers_from_tree(tomllib.loads(after.toml)) == answers_from_tree(tree)


def test_a_dozen_answers_are_enough_and_each_missing_one_is_asked_for() -> None:
    rig = rig_from_answers(GOOD)
    assert rig.pressure is not None and rig.wheel is not None and rig.pump is None
    assert not rig.spray_switch
    assert rig.nozzles.spacing_m == pytest.approx(20 * 0.0254)  # NIST Handbook 44, Appendix C
    for name in GOOD:
        assert set(wrong(**{name: " "})) == {name}
    asked = [question for question in QUESTIONS if not question.more]
    assert len(asked) <= 18


def test_mistakes_stand_at_their_question() -> None:
    assert "without a unit" in wrong(tank="12")["tank"]
    assert "whole number" in wrong(nozzles="3.5")["nozzles"]
    assert "plausible" in wrong(nozzles="999")["nozzles"]
    assert "between 0.0264 gal and 5,280 gal" in wrong(tank="-3 gal")["tank"]
    assert "not both" in wrong(tip_points="15 psi: 0.18 gpm")["tip_points"]
    assert set(wrong(tip_low="15 psi")) == {"tip_high"}
    assert set(wrong(tip_low="60 psi", tip_high="15 psi")) & {"tip_low", "tip_high"}
    assert "rows such as" in wrong(tip_flow="", tip_at="", tip_points="15 psi 0.18 gpm")["tip_points"]
    assert "rise" in wrong(tip_flow="", tip_at="", tip_points="15 psi: 0.2 gpm; 40 psi: 0.1 gpm")["tip_points"]
    assert set(wrong(travel="course")) == {"course_distance", "course_time"}
    assert set(wrong(pump_switch="60 psi")) == {"pump_open_flow"}
    assert set(wrong(travel="sledge")) >= {"travel"}


NUMBERS = st.sampled_from(["1", "2,5", "0.35", "1 1/2", "10,000", "1e3", "12 000", "½", "-3", "0", "nan", "abc", ""])
UNITS = st.sampled_from(
    ["gal", "L", "in", "cm", "ft", "gpm", "L/min", "psi", "bar", "pulses/L", "%", "s", "Hz", "gal/1000 ft²", ""]
)
TYPED = st.one_of(
    st.builds(lambda number, unit: f"{number} {unit}".strip(), NUMBERS, UNITS),
    st.text(max_size=30),
    st.sampled_from(
        ["yes", "no", "us", "metric", "wheel", "course", "hall", "reed", "4", "15 psi: 0.18 gpm; 40 psi: 0.3 gpm"]
    ),
)
ANSWERS = st.dictionaries(st.sampled_from([question.name for question in QUESTIONS]), TYPED, max_size=8)


@settings(max_examples=150, deadline=None)
@given(ANSWERS)
def test_any_accepted_answers_are_read_back_as_the_rig_they_describe(answers: dict[str, str]) -> None:
    answers = GOOD | answers
    try:
        rig = rig_from_answers(answers)
    except (WrongEntriesError, UserError):
        return
    assert rig_from_toml(rig.toml) == rig
    assert rig.name == answers["name"].strip() or rig.name == " ".join(answers["name"].split())
    assert rig.tank.volume_m3 == parse_quantity(answers["tank"], "volume", "tank")
    assert rig.target.rate_m3_m2 == parse_quantity(answers["rate"], "rate", "rate")
    assert (rig.course is not None) == (answers.get("travel", "").strip() == "course")
    again = rig_from_answers(answers_from_tree(tomllib.loads(rig.toml)))
    assert replace(again, toml="") == replace(rig, toml="")


def test_every_key_of_a_rig_file_is_asked_for() -> None:
    from host.rig.tables import RIG
    from host.schema.table import Table

    asked = {question.path for question in QUESTIONS}
    for name, key in RIG.keys.items():
        keys = [(name, inner) for inner in key.kind.keys] if isinstance(key.kind, Table) else [(name,)]
        assert name == "tip" or set(keys) <= asked
    assert len({question.name for group in GROUPS for question in group.questions}) == len(QUESTIONS) - 2
