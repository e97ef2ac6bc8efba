"""The JSON Schema that editors complete rig files and scenarios by, checked by the library jsonschema."""

from __future__ import annotations

import json
import tomllib
from importlib.resources import files
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.cli.main import main
from host.errors import UserError
from host.rig import rig_from_toml
from host.rig.tables import RIG
from host.schema import Place, editor_schema
from host.simulate.scenario import PACKAGED, SCENARIO
from tests.host.damage.hostile import TOML_VALUES, distorted
from tests.host.test_rig import BAD
from tests.host.test_rig_file_page import EXAMPLES as ON_THE_PAGE

RIG_CHECKER = jsonschema.Draft7Validator(editor_schema(RIG, "rig"))
SCENARIO_CHECKER = jsonschema.Draft7Validator(editor_schema(SCENARIO, "scenario"))
RIGS = [file.read_text(encoding="utf-8") for file in files("host.rig").joinpath("examples").iterdir()] + ON_THE_PAGE
SCENARIOS = [path.read_text(encoding="utf-8") for path in PACKAGED.glob("*.toml")]
# Mistakes in the meaning of a text or between two values: only the reader sees them.
FOR_THE_READER = {
    "wrong dimension", "no unit", "negative", "zero flow", "band of 100 %", "falling span", "falling table",
    "falling flow", "wrong in a table", "course of an hour", "rising pump", "two tips of one name",
}  # fmt: skip
NOT_TOML = {"syntax", "key twice", "nested"}


def complaints(checker: jsonschema.Draft7Validator, tree: dict[str, Any]) -> list[str]:
    return [error.message for error in checker.iter_errors(tree)]


@pytest.mark.parametrize("checker", [RIG_CHECKER, SCENARIO_CHECKER])
def test_it_is_a_json_schema(checker: jsonschema.Draft7Validator) -> None:
    checker.check_schema(checker.schema)


def test_every_rig_file_and_scenario_that_comes_along_keeps_to_it() -> None:
    assert len(RIGS) >= 4 and len(SCENARIOS) >= 5
    for text in RIGS:
        assert complaints(RIG_CHECKER, tomllib.loads(text)) == []
    for text in SCENARIOS:
        assert complaints(SCENARIO_CHECKER, tomllib.loads(text)) == []


@pytest.mark.parametrize("name", sorted(BAD.keys() - FOR_THE_READER - NOT_TOML))
def test_an_editor_marks_the_mistake(name: str) -> None:
    assert complaints(RIG_CHECKER, tomllib.loads(BAD[name][0]))


def test_what_only_the_reader_sees_is_not_more_than_that() -> None:
    for name in FOR_THE_READER:
        assert complaints(RIG_CHECKER, tomllib.loads(BAD[name][0])) == []
        with pytest.raises(UserError):
            rig_from_toml(BAD[name][0])


@given(st.sampled_from([tomllib.loads(text) for text in RIGS]).flatmap(lambda tree: distorted(tree, TOML_VALUES)))
def test_it_refuses_nothing_that_is_read(tree: dict[str, Any]) -> None:
    try:
        RIG.read(tree, Place("rig file"))
    except UserError:
        return
    assert complaints(RIG_CHECKER, tree) == []


def test_every_key_has_its_meaning() -> None:
    sections = RIG_CHECKER.schema["properties"]
    assert all(section["description"] for section in sections.values())
    assert all(key["description"] for section in sections.values() for key in section.get("properties", {}).values())


def test_the_command_prints_or_writes_it(tmp_path: Any, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema", "rig"]) == 0
    assert json.loads(capsys.readouterr().out) == editor_schema(RIG, "Swardflow rig file")
    out = tmp_path / "scenario.schema.json"
    assert main(["schema", "scenario", "--out", str(out)]) == 0
    assert (
        json.loads(out.read_text(encoding="utf-8"))["properties"]["walk"]["properties"]["passes"]["maximum"] == 10_000
    )
    assert main(["schema", "scenario", "--out", str(out)]) == 2, "nothing is overwritten"
