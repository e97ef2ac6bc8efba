"""The page that documents the rig file, held against the code that reads it."""

import re
from importlib.resources import files

import pytest

from host.rig import rig_from_toml
from host.rig.model import USUAL_RANGE
from host.rig.tables import RIG
from host.schema import Table, Tables
from host.units import parse_quantity

PAGE = files("host.rig").joinpath("RIG_FILE.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
ROWS = re.findall(r"^\| `([a-z_.]+)` \| ([^|]+) \| ([^|]*) \| ([^|]*) \|", PAGE, re.MULTILINE)
TABLE = {key: cells for key, *cells in ROWS}
TABLES = {name: rule.kind.of if isinstance(rule.kind, Tables) else rule.kind for name, rule in RIG.keys.items()}
SECTIONS = {name: table for name, table in TABLES.items() if isinstance(table, Table)}
KNOWN = {name: rule for name, rule in RIG.keys.items() if name not in SECTIONS} | {
    f"{section}.{name}": rule for section, table in SECTIONS.items() for name, rule in table.keys.items()
}


def test_every_key_is_on_the_page_once_and_no_other():
    assert sorted(key for key, *_ in ROWS) == sorted(KNOWN)


TIP_RANGE = "ends of its table; of a single point ⅜ to 2½ of its pressure"


def test_the_usual_range_is_the_one_of_the_code():
    assert USUAL_RANGE == (3 / 8, 5 / 2)


@pytest.mark.parametrize("key", KNOWN)
def test_kind_default_and_meaning_on_the_page_are_those_of_the_code(key):
    rule = KNOWN[key]
    kind, default, meaning = (cell.strip() for cell in TABLE[key])
    assert (kind, meaning) == (rule.kind.name.replace("_", " "), rule.meaning)
    if rule.required:
        assert default == "required"
    elif rule.written is not None:
        values = rule.written if isinstance(rule.written, list) else [rule.written]
        words = [str(v).lower() if isinstance(v, bool) else f'"{v}"' for v in values]
        assert re.findall(r"`([^`]+)`", default) == words
    else:
        assert default in ("none", "no limits", "nozzles × spacing", TIP_RANGE)


@pytest.mark.parametrize("text", EXAMPLES)
def test_examples_on_the_page_load(text):
    assert rig_from_toml(text).toml == text


def test_examples_on_the_page_use_every_key_between_them():
    used = set()
    for text in EXAMPLES:
        section = ""
        for line in text.splitlines():
            if heading := re.match(r"\[+(\w+)\]", line):
                section = heading[1] + "."
            elif key := re.match(r"(\w+) =", line):
                used.add(section + key[1])
    assert used == KNOWN.keys()


def test_required_sections_on_the_page_are_those_of_the_code():
    sentence = re.search(r"Sections (.*?) and exactly one", PAGE, re.DOTALL)[1]
    assert re.findall(r"\[(\w+)\]", sentence) == [name for name in SECTIONS if RIG.keys[name].required]


@pytest.mark.parametrize("line", re.findall(r"^- ([a-z ]+): (.+)$", PAGE, re.MULTILINE), ids=lambda pair: pair[0])
def test_every_unit_on_the_page_can_be_written(line):
    kind, units = line[0].replace(" ", "_"), re.sub(r"\(or ([^)]*)\)", r", \1", line[1]).replace(" (US)", "")
    words = [word.removeprefix("just ").strip() for word in re.split(r",| or ", units)]
    for word in words:
        if word:
            assert parse_quantity(f"1 {word}", kind, "here") > 0
