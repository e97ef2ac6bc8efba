"""Scenario files: read, refused in one sentence, and explained by their page."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import host.simulate
from host.errors import UserError
from host.schema import Table
from host.simulate.disturbances import DISTURBANCE, KINDS, cause_of
from host.simulate.scenario import (
    PACKAGED,
    SCENARIO,
    load_scenario,
    packaged_scenarios,
    scenario_from_toml,
)
from host.simulate.scenario_source import ScenarioSource
from host.units import PSI_PA

START = 'rig = "rigs/bowling-green.toml"\n'
PAGE = (Path(host.simulate.__file__).parent / "SCENARIO.md").read_text(encoding="utf-8")


def read(text: str, start: str = START) -> object:
    return scenario_from_toml(start + text, "test.toml", PACKAGED)


def test_quantities_become_si() -> None:
    scenario = scenario_from_toml(
        START
        + 'duration = "2 min"\n[walk]\nlength = "100 ft"\npaces = ["100 %", 0.9]\n[regulator]\npressure = "30 psi"\n'
        + '[meter]\ndeviation = [["10 Hz", "-2 %"], ["40 Hz", "1 %"]]\n'
        + '[[disturbance]]\nkind = "clog"\npass = 2\nat = "5 s"\namount = "50 %"\n',
        "test.toml",
        PACKAGED,
    )
    assert scenario.duration_s == 120.0
    assert scenario.walk.length_m == pytest.approx(30.48)
    assert scenario.walk.paces == pytest.approx((1.0, 0.9))
    assert scenario.regulator.pressure_pa == pytest.approx(30 * PSI_PA)
    assert scenario.meter.deviation == ((10.0, pytest.approx(-0.02)), (40.0, pytest.approx(0.01)))
    assert (scenario.disturbances[0].amount, scenario.disturbances[0].pass_number) == (0.5, 2)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[walk]\npasss = 3\n", ["key walk.passs in test.toml", "passes"]),
        ("[wolk]\n", ["wolk", "walk"]),
        ("sed = 1\n", ["sed", "seed"]),
        ('[walk]\nlength = "38 s"\n', ["walk.length in test.toml", "38 s"]),
        ("[walk]\nlength = 38\n", ["walk.length", "38"]),
        ('[walk]\nlength = "1 mm"\n', ["walk.length", "range"]),
        ('[walk]\npasses = "many"\n', ["walk.passes", "many"]),
        ("[walk]\npasses = true\n", ["walk.passes"]),
        ("[walk]\npaces = []\n", ["walk.paces"]),
        ('[walk]\nrefill_after = [1, "two"]\n', ["walk.refill_after", "two"]),
        ('walk = "fast"\n', ["walk in test.toml", "section"]),
        ('[meter]\ndeviation = [["10 Hz"]]\n', ["meter.deviation", "pair"]),
        ('[meter]\ndeviation = [["40 Hz", "1 %"], ["10 Hz", "1 %"]]\n', ["meter.deviation", "rise"]),
        ('[meter]\ndeviation = [["40 Hz", "90 %"]]\n', ["meter.deviation", "range"]),
        ("[transducer]\nnoise_counts = nan\n", ["transducer.noise_counts"]),
        ("[board]\ninterval_ms = 5\n", ["board.interval_ms", "range"]),
        ('[board]\nname = "My Board!"\n', ["board.name", "My Board!"]),
        ('[[disturbance]]\nkind = "klog"\nat = "1 s"\n', ["disturbance 1", "klog", "clog"]),
        ('[[disturbance]]\nkind = "clog"\n', ["disturbance 1", "at"]),
        ('[[disturbance]]\nkind = "stand"\nat = "1 s"\n', ["disturbance 1", "lasts"]),
        ('[[disturbance]]\nkind = "leak"\nat = "1 s"\n', ["disturbance 1", "amount"]),
        ('[[disturbance]]\nkind = "meter_stuck"\nat = "1 s"\namount = "5 %"\n', ["disturbance 1", "amount"]),
        ('[[disturbance]]\nkind = "leak"\nat = "1 s"\namount = "5 psi"\n', ["disturbance 1.amount", "5 psi"]),
        ('[[disturbance]]\nkind = "leak"\nat = "1 s"\namount = "5 %"\nnozzles = 2\n', ["disturbance 1", "nozzles"]),
        ('disturbance = "clog"\n', ["disturbance"]),
        ("seed = [\n", ["test.toml", "TOML"]),
        ("seed = -1\n", ["seed"]),
    ],
)
def test_a_mistake_is_told_in_one_sentence_that_names_the_place(text: str, words: list[str]) -> None:
    with pytest.raises(UserError) as caught:
        read(text)
    sentence = str(caught.value)
    assert "\n" not in sentence
    for word in words:
        assert word in sentence


@pytest.mark.parametrize(
    ("start", "words"),
    [
        ("", ["rig"]),
        ('rig = "no-such"\n', ["no-such", "example"]),
        ('rig = "no-such.toml"\n', ["no-such.toml"]),
        ("rig = 5\n", ["rig", "5"]),
    ],
)
def test_a_missing_or_unknown_rig_is_told(start: str, words: list[str]) -> None:
    with pytest.raises(UserError) as caught:
        read("", start)
    for word in words:
        assert word in str(caught.value)


def test_an_unknown_scenario_names_those_there_are(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="demo"):
        load_scenario("no-such-scenario")
    with pytest.raises(UserError, match="does not exist"):
        load_scenario(str(tmp_path / "absent.toml"))
    (tmp_path / "latin.toml").write_bytes(b'title = "caf\xe9"\n')
    with pytest.raises(UserError, match="UTF-8"):
        load_scenario(str(tmp_path / "latin.toml"))


def test_an_example_rig_can_be_named() -> None:
    scenario = scenario_from_toml('rig = "harrow-lea-walker"\n')
    assert ScenarioSource(scenario).duration_s > 60


@pytest.mark.parametrize("name", list(packaged_scenarios()))
def test_every_packaged_scenario_runs_and_has_a_title(name: str) -> None:
    scenario = load_scenario(name)
    assert scenario.title
    source = ScenarioSource(scenario)
    assert len(source.due(30.0)) > 250
    assert source.sprayer.walk.passes[0].begin_s < 5


def rows_below(heading: str) -> list[list[str]]:
    section = PAGE.split(heading, 1)[1].split("\n#", 1)[0]
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")] for line in section.split("\n") if line.startswith("| `")
    ]
    return [[rows_cell.strip("`") if i == 0 else rows_cell for i, rows_cell in enumerate(row)] for row in rows]


TABLES = {name: rule.kind.keys for name, rule in SCENARIO.keys.items() if isinstance(rule.kind, Table)}


@pytest.mark.parametrize("name", TABLES)
def test_the_page_explains_every_key_of_the_table(name: str) -> None:
    rows = rows_below(f"### `[{name}]`")
    keys = TABLES[name]
    assert [row[0] for row in rows] == list(keys)
    for key, kind, default, meaning in rows:
        rule = keys[key]
        assert (kind, meaning) == (rule.kind.name, rule.meaning)
        if default not in ("—", "`[]`"):
            parsed = scenario_from_toml(f"{START}[{name}]\n{key} = {default.strip('`')}\n", "page", PACKAGED)
            left_out = scenario_from_toml(START, "page", PACKAGED)
            expected = getattr(getattr(left_out, name), rule.attribute)
            assert getattr(getattr(parsed, name), rule.attribute) == pytest.approx(expected)


def test_the_page_explains_every_event_and_top_key() -> None:
    explained = {row[0]: row[1:] for row in rows_below("## Disturbances")}
    assert list(explained) == [*DISTURBANCE.keys, *KINDS]
    for key, rule in DISTURBANCE.keys.items():
        assert explained[key] == [rule.meaning]
    for name, kind in KINDS.items():
        amount, _, fault, called, meaning = explained[name]
        assert called == (f"`{cause_of(name)}`" if cause_of(name) else "not seen" if kind.is_fault else "—")
        assert (amount, fault, meaning) == (kind.amount or "—", "yes" if kind.is_fault else "no", kind.meaning)
    assert {row[0]: row[1] for row in rows_below("## Keys at the top")} == {
        name: rule.meaning for name, rule in SCENARIO.keys.items() if rule.meaning
    }


def test_the_example_on_the_page_works() -> None:
    example = re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    assert example is not None
    scenario = scenario_from_toml(example[1], "page", PACKAGED)
    assert scenario.walk.passes == 4
    assert scenario.disturbances[0].over_s == 20.0
