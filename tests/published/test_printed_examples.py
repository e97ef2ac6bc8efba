"""Every printed example in the data files beside this one, answered and held to its own rounding: by the formulas that
everything uses (answers.py), and by the commands that a keeper types it into (commands.py).

A row that is known to be wrong in its source stays, with what the source prints (`printed`), what its inputs give
(`really`) and `why`: it must still be wrong by our arithmetic, or the remark is.
"""

import tomllib
from pathlib import Path

import pytest

from host.units import parse_quantity
from tests.published.answers import ANSWERS, KINDS
from tests.published.commands import COMMANDS, NOT_ASKED, Sprayer, si

HERE = Path(__file__).parent
SOURCES = tomllib.loads((HERE / "sources.toml").read_text(encoding="utf-8"))
NOT_INPUTS = ("printed", "really", "why")
EXAMPLES = [
    pytest.param(table, row, id=f"{file.stem}: {table['source']}, {table['computes']}, {number}")
    for file in sorted(HERE.glob("*.toml"))
    if file.stem != "sources"
    for table in tomllib.loads(file.read_text(encoding="utf-8"))["table"]
    for number, row in enumerate(table["rows"], start=1)
]


BY_COMMANDS_ALONE = {"product per 1000 ft2", "product for an area", "product in a tank", "mix for an area"} | {
    "area", "area of a tank", "pump with its margin", "density of water", "volume of weighed water",
}  # fmt: skip
# Answers without a unit, and of units that are no kind of their own.
PLAIN = {"1", "kg/m3"}


def formula(table, row):
    """What Swardflow's formulas say, in the unit of the table."""
    kind, compute = ANSWERS[table["computes"]]
    kind = kind or table["kind"]
    inputs = {
        name: parse_quantity(text, KINDS.get(name, kind), name) if isinstance(text, str) else text
        for name, text in row.items()
        if name not in NOT_INPUTS
    }
    unit = table["unit"]
    return compute(**inputs) / (1.0 if unit == "1" else parse_quantity(f"1 {unit}", kind, "unit"))


def command(table, row, sprayer):
    """What the command says to the same text, in the unit of the table."""
    inputs = {name: value for name, value in row.items() if name not in NOT_INPUTS}
    extra = {"kind": table["kind"]} if "kind" in table else {}
    found = COMMANDS[table["computes"]](sprayer, **inputs, **extra)
    unit = table["unit"]
    kind = table.get("kind") or ANSWERS.get(table["computes"], (UNIT_KINDS.get(unit),))[0]
    return found if unit in PLAIN else found / si(1.0, unit, kind)


UNIT_KINDS = {"gal": "volume", "L": "volume", "ft2": "area", "acre": "area", "gal/min": "flow"}


def check(ours, table, row):
    source = SOURCES[table["source"]]["cite"]
    within = table["within"] if "within" in table else table["relative"] * row["printed"]
    # A printed figure may be its own half step away, and a float's last bits more.
    within += 1e-11 * abs(row["printed"])
    if "why" in row:
        assert abs(ours - row["printed"]) > within, f"{source} is right after all: {row['why']}"
        assert ours == pytest.approx(row["really"], abs=within), source
    else:
        assert ours == pytest.approx(row["printed"], abs=within), source


@pytest.mark.parametrize(
    ("table", "row"), [one for one in EXAMPLES if one.values[0]["computes"] not in BY_COMMANDS_ALONE]
)
def test_printed_example_by_the_formulas(table, row):
    check(formula(table, row), table, row)


@pytest.mark.parametrize(("table", "row"), [one for one in EXAMPLES if one.values[0]["computes"] not in NOT_ASKED])
def test_printed_example_by_the_commands(table, row, tmp_path):
    check(command(table, row, Sprayer(tmp_path)), table, row)


def test_every_kind_of_example_is_answered_both_ways_or_says_why_not():
    asked = {one.values[0]["computes"] for one in EXAMPLES}
    assert asked == set(ANSWERS) | BY_COMMANDS_ALONE
    assert asked == set(COMMANDS) | set(NOT_ASKED)
    assert not set(ANSWERS) & BY_COMMANDS_ALONE


def test_every_table_names_a_known_source_and_how_it_was_read():
    tables = [table for parameters in EXAMPLES for table in parameters.values[:1]]
    assert len(tables) > 100
    for table in tables:
        assert table["source"] in SOURCES
        assert table["basis"] in ("read", "second-hand", "from memory", "derived")


def test_a_wrong_answer_would_be_noticed():
    """The check itself can fail: a formula that is 11 % off passes no table of one-in-a-thousand figures."""
    table = {"computes": "rate from catch", "unit": "gal/acre"}
    row = {"catch": "12 fl oz", "course": "300 ft", "swath": "12 in", "printed": 13.6}
    assert abs(formula(table, row) * 1.11 - row["printed"]) > 1
