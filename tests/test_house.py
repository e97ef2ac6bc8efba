"""Imports run one way, files stay small, and the guides name what is there."""

import ast
import itertools
import re
import shlex
import subprocess
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

from host.cli.main import build_parser

ROOT = Path(__file__).parents[1]
PACKAGES = ("firmware_protocol", "host", "dashboards")

# What a part may import of the project, by the first matching prefix.
MAY_IMPORT = {
    "firmware_protocol": {"firmware_protocol"},
    "host.errors": set(),
    "host.unit_definitions": set(),
    "host.formulas": set(),
    "host.frames": {"firmware_protocol"},
    "host.events": {"host.frames"},
    "host.toml_text": {"host.errors"},
    "host.units": {"host.errors", "host.unit_definitions"},
    "host.rig": {"host.rig", "host.errors", "host.toml_text", "host.units", "host.formulas"},
    "host.journal": {"host.journal", "host.frames", "host.events", "host.errors", "firmware_protocol"},
    "host.link": {"host.link", "host.errors", "firmware_protocol"},
    "host.pipeline": {"host.pipeline", "host.rig", "host.frames", "host.events", "host.formulas", "firmware_protocol"},
    "host.recorder": {
        "host.recorder",
        "host.link",
        "host.journal",
        "host.events",
        "host.rig",
        "host.errors",
        "firmware_protocol",
    },
    "host.review": {
        "host.review",
        "host.calibrate",
        "host.pipeline",
        "host.rig",
        "host.journal",
        "host.frames",
        "host.events",
        "host.units",
        "host.formulas",
        "host.errors",
    },
    "host.library": {"host.library", "host.review", "host.rig", "host.journal", "host.errors"},
    "host.cli": {"host", "firmware_protocol"},
    "host": {"host", "firmware_protocol"},
    "dashboards": {"dashboards", "host", "firmware_protocol"},
}
NOT_EVEN_FOR_HOST = "host.cli"


def modules():
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
            yield name, path


MODULES = list(modules())


def imported(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)


def within(name, prefix):
    return name == prefix or name.startswith(prefix + ".")


@pytest.mark.parametrize(("name", "path"), MODULES, ids=lambda value: value if isinstance(value, str) else "")
def test_imports_run_one_way(name, path):
    allowed = next(allowed for part, allowed in MAY_IMPORT.items() if within(name, part))
    for target in imported(path):
        if any(within(target, package) for package in PACKAGES):
            assert any(within(target, part) for part in allowed), f"{name} imports {target}"
            if not within(name, NOT_EVEN_FOR_HOST):
                assert not within(target, NOT_EVEN_FOR_HOST), f"{name} imports the command line"


def test_no_circles():
    graph = {
        name: {target for target in imported(path) if target in dict(MODULES) and not within(name, target)}
        for name, path in MODULES
    }
    assert len(list(TopologicalSorter(graph).static_order())) == len(MODULES)


@pytest.mark.parametrize(("name", "path"), MODULES, ids=lambda value: value if isinstance(value, str) else "")
def test_no_file_grows_out_of_hand(name, path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 420


def test_the_top_level_holds_what_it_should_and_nothing_else():
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if tracked.returncode:
        pytest.fail("run the tests from a clone: this one looks at what git tracks")
    top = {line.split("/")[0] for line in tracked.stdout.splitlines()}
    allowed = {
        "pyproject.toml",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "host",
        "firmware_protocol",
        "tests",
        "recordings",
        "dashboards",
    }
    assert {name for name in top if not name.startswith(".")} <= allowed


GUIDES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    *(path for part in PACKAGES for path in (ROOT / part).rglob("*.md")),
]


@pytest.mark.parametrize("path", GUIDES, ids=lambda path: path.name)
def test_every_link_in_a_guide_leads_somewhere(path):
    text = path.read_text(encoding="utf-8")
    for link in (one or other for one, other in re.findall(r"\]\(([^)#\s]+)\)|src=\"([^\"]+)\"", text)):
        assert (path.parent / link).exists(), link


def commands_in(text):
    """(command line, whether it stands in a block of its own): inside a sentence one may leave out what is required."""
    for block in re.findall(r"^ *```\n(.*?)^ *```", text, re.MULTILINE | re.DOTALL):
        for line in block.replace("\\\n", " ").splitlines():
            yield from ((found[1], True) for found in [re.search(r"(?:^ *|/bin/|&& )swardflow (.*)", line)] if found)
    for found in re.findall(r"`swardflow ([^`]+)`", re.sub(r"```.*?```", "", text, flags=re.DOTALL)):
        yield " ".join(found.split()), False


@pytest.mark.parametrize("path", GUIDES, ids=lambda path: path.name)
def test_a_guide_names_only_commands_that_are_taken(path, capsys):
    for line, whole in commands_in(path.read_text(encoding="utf-8")):
        # What follows is the shell's, or the writer's: another command, a file for the output, a remark, "and so on".
        words = shlex.split(re.split(r" (?:&&|>|\||…|#) ?|  +", line)[0])
        try:
            build_parser().parse_args(words)
        except SystemExit:
            said = capsys.readouterr().err
            assert not whole and "arguments are required" in said, f"swardflow {line}: {said}"
            _options_exist(words, capsys)


def _options_exist(words, capsys):
    names = list(itertools.takewhile(lambda word: re.fullmatch(r"[a-z]+", word), words))
    for count in (2, 1):
        with pytest.raises(SystemExit):
            build_parser().parse_args([*names[:count], "--help"])
        if usage := capsys.readouterr().out:
            break
    for option in (word for word in words if word.startswith("--")):
        assert option in usage, f"swardflow {' '.join(words)}: there is no {option}"


def test_the_readme_has_commands_to_check():
    assert len(list(commands_in((ROOT / "README.md").read_text(encoding="utf-8")))) > 15
    assert ("plan pump", False) in commands_in("Try `swardflow plan\npump`.")
    assert list(commands_in("```\n.venv/bin/swardflow mix --x\n```")) == [("mix --x", True)]
