"""Every printed example in the data files beside this one, answered and held to its own rounding.

A row that is known to be wrong in its source stays, with what the source prints (`printed`), what its inputs give
(`really`) and `why`: it must still be wrong by our arithmetic, or the remark is.
"""

import tomllib
from pathlib import Path

import pytest

from host.units import parse_quantity
from tests.published.answers import ANSWERS, KINDS

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


def answer(table, row):
    """What Swardflow says, in the unit of the table."""
    kind, compute = ANSWERS[table["computes"]]
    kind = kind or table["kind"]
    inputs = {
        name: parse_quantity(text, KINDS.get(name, kind), name) if isinstance(text, str) else text
        for name, text in row.items()
        if name not in NOT_INPUTS
    }
    unit = table["unit"]
    size = 1.0 if unit == "1" else parse_quantity(f"1 {unit}", kind, "unit")
    return compute(**inputs) / size


@pytest.mark.parametrize(("table", "row"), EXAMPLES)
def test_printed_example(table, row):
    source = SOURCES[table["source"]]["cite"]
    within = table["within"] if "within" in table else table["relative"] * row["printed"]
    ours = answer(table, row)
    # A printed figure may be its own half step away, and a float's last bit more.
    within += 1e-12 * abs(row["printed"])
    if "why" in row:
        assert abs(ours - row["printed"]) > within, f"{source} is right after all: {row['why']}"
        assert ours == pytest.approx(row["really"], abs=within), source
    else:
        assert ours == pytest.approx(row["printed"], abs=within), source


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
    assert abs(answer(table, row) * 1.11 - row["printed"]) > 1
