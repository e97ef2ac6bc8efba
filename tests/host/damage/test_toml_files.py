"""Rig files, calibration cards and scenarios in which something is not as it should be."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import strategies as st

from host.calibrate.cards import apply_cards, card_from_toml, make_card
from host.errors import DamagedFileError, UserError
from host.library.later_notes import read_notes
from host.rig import load_rig, rig_from_toml
from host.run_folder import notes_path
from host.simulate.scenario import PACKAGED, scenario_from_toml
from host.simulate.scenario_source import ScenarioSource
from host.toml_text import toml_tree
from tests.host.damage.hostile import TOML_VALUES, distorted, few_and_many

RIGS = [path for path in files("host.rig").joinpath("examples").iterdir() if path.name.endswith(".toml")]
RIG = load_rig(str(RIGS[0]))
CARDS = [
    make_card(kind, RIG.name, datetime(2026, 5, 1, tzinfo=UTC), section, record)
    for kind, section, record in (
        ("meter", {"curve": [["10 Hz", "448 /L"], ["30 Hz", "452 /L"]], "uncertainty": "0.4 %"}, {"catches": 6}),
        ("pressure", {"span": ["0 psi", "100 psi"], "output": ["10 %", "90 %"], "uncertainty": "1 %"}, {}),
        ("wheel", {"circumference": "1.2 m", "pulses_per_turn": 10, "uncertainty": "0.5 %"}, {}),
    )
]
SCENARIO = (PACKAGED / "wrap-and-reset.toml").read_text(encoding="utf-8")


def trees(texts: list[str]) -> st.SearchStrategy[dict[str, Any]]:
    return st.sampled_from([tomllib.loads(text) for text in texts]).flatmap(lambda tree: distorted(tree, TOML_VALUES))


def written(tree: dict[str, Any]) -> str:
    """As TOML; whatever cannot be written (a number of more than 64 bits can) is no file either."""
    return tomli_w.dumps(tree)


def one_sentence(error: UserError) -> None:
    assert "\n" not in str(error) and str(error), repr(str(error))


def _rig(tree: dict[str, Any]) -> None:
    try:
        rig = rig_from_toml(written(tree))
    except UserError as error:
        one_sentence(error)
        return
    assert rig.nozzles.count >= 1 and rig.swath_m > 0 and rig.target.rate_m3_m2 > 0


def _card(tree: dict[str, Any]) -> None:
    try:
        card = card_from_toml(written(tree))
        apply_cards(RIG, [card])
    except UserError as error:
        one_sentence(error)


def _scenario(tree: dict[str, Any]) -> None:
    try:
        scenario = scenario_from_toml(written(tree), "scenario", PACKAGED)
        source = ScenarioSource(scenario)
        assert source.duration_s > 0
        source.due(1.0)
    except UserError as error:
        one_sentence(error)


@pytest.mark.parametrize("reader", [rig_from_toml, card_from_toml, scenario_from_toml])
@pytest.mark.parametrize(
    "text",
    [
        "a = " + "1" * 5_000,
        "a = " + "[" * 20_000,
        "a." * 3_000 + "b = 1",
        'rig = "harrow-lea-walker"\n[[disturbance]]\nkind = [1]\nat = "1 s"',
        'rig = "a\\u0000b.toml"',
        f'rig = "{"x" * 5_000}.toml"',
        'rig = "harrow-lea-walker"\nseed = 1' + "0" * 400,
    ],
)
def test_what_the_standard_library_stumbles_over(reader: Callable[[str], Any], text: str) -> None:
    try:
        reader(text)
    except UserError as error:
        one_sentence(error)


@pytest.mark.parametrize("text", ["a = " + "1" * 5_000, "[[note]]\nkey = 1", "note = 5", "\0", "\xff"])
def test_notes_beside_a_run(tmp_path: Path, text: str) -> None:
    run = tmp_path / "a.sward"
    notes_path(run).write_bytes(text.encode("latin-1"))
    with pytest.raises(UserError) as caught:
        read_notes(run)
    one_sentence(caught.value)


test_rig, test_rig_many = few_and_many(_rig, trees([Path(str(rig)).read_text(encoding="utf-8") for rig in RIGS]))
test_card, test_card_many = few_and_many(_card, trees([card.toml for card in CARDS]))
test_scenario, test_scenario_many = few_and_many(_scenario, trees([SCENARIO]))


@pytest.mark.parametrize("line", ["a{} = 1", "[a{}]", '"a"{} = 1', "a = [{{ b{} = 1 }}]", "a . b{} = 1"])
def test_a_key_of_thousands_of_parts_is_refused_at_once(line: str, tmp_path: Path) -> None:
    """Fifty thousand took the standard library a minute and 5 GB: they are not even tried."""
    text = line.format(".a" * 49_000)
    with pytest.raises(DamagedFileError, match="too deeply nested"):
        toml_tree(text, "the file", "mend it")
    notes_path(run := tmp_path / "a.sward").write_text(text, encoding="utf-8")
    with pytest.raises(DamagedFileError, match="too deeply nested"):
        read_notes(run)
    assert toml_tree("a.b.c = 1 # a.b.c.d.e", "the file", "mend it") == {"a": {"b": {"c": 1}}}


def test_notes_that_are_too_many_are_not_read_in_part(tmp_path: Path) -> None:
    notes_path(run := tmp_path / "a.sward").write_bytes(b"#" * (1 << 20) * 17)
    with pytest.raises(DamagedFileError, match="larger than"):
        read_notes(run)
