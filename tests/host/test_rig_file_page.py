"""The page that documents the rig file, held against the code that reads it."""

import re
from importlib.resources import files

import pytest

from host.rig import rig_from_toml
from host.rig.keys import KEYS, REQUIRED_SECTIONS
from host.units import parse_quantity

PAGE = files("host.rig").joinpath("RIG_FILE.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
TABLE = {
    key: (kind, default)
    for key, kind, default in re.findall(r"^\| `([a-z_.]+)` \| ([^|]+) \| ([^|]*) \|", PAGE, re.MULTILINE)
}
KNOWN = {f"{section}.{key}" if section else key: rule for section, keys in KEYS.items() for key, rule in keys.items()}


def test_every_key_is_on_the_page_and_no_other():
    assert TABLE.keys() == KNOWN.keys()


@pytest.mark.parametrize("key", KNOWN)
def test_kind_and_default_on_the_page_are_those_of_the_code(key):
    rule = KNOWN[key]
    kind, default = TABLE[key][0].strip(), TABLE[key][1].strip()
    expected = f"table of {', '.join(c.kind for c in rule.columns)}" if rule.columns else rule.kind
    assert kind == expected.replace("_", " ")
    if rule.required:
        assert default == "required"
    elif rule.default is not None:
        values = rule.default if isinstance(rule.default, tuple) else (rule.default,)
        words = [str(v).lower() if isinstance(v, bool) else f'"{v}"' for v in values]
        assert re.findall(r"`([^`]+)`", default) == words
    else:
        assert default in ("none", "no limits", "nozzles × spacing")


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
    assert tuple(re.findall(r"\[(\w+)\]", sentence)) == REQUIRED_SECTIONS


@pytest.mark.parametrize("line", re.findall(r"^- ([a-z ]+): (.+)$", PAGE, re.MULTILINE), ids=lambda pair: pair[0])
def test_every_unit_on_the_page_can_be_written(line):
    kind, units = line[0].replace(" ", "_"), re.sub(r"\(or ([^)]*)\)", r", \1", line[1]).replace(" (US)", "")
    words = [word.removeprefix("just ").strip() for word in re.split(r",| or ", units)]
    for word in words:
        if word:
            assert parse_quantity(f"1 {word}", kind, "here") > 0
