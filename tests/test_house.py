"""Imports run one way, files stay small, and the guides name what is there."""

import ast
import itertools
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from host.cli.main import build_parser

ROOT = Path(__file__).parents[1]
PACKAGES = ("firmware_protocol", "host", "dashboards")
MOST_LINES_OF_A_FILE = 400
MOST_LINES_OF_A_FUNCTION = 60

FILES = sorted(path for part in (*PACKAGES, "tests") for path in (ROOT / part).rglob("*.py"))


def run_tool(program):
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False)
    assert "ModuleNotFoundError" not in done.stderr, "tools are missing: run 'sh .ci/venv test'"
    return done


def test_imports_run_one_way_and_never_in_a_circle():
    """The layers are in pyproject.toml, under tool.importlinter."""
    lint = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_cache=True, no_logo=True))"
    linted = run_tool(lint)
    assert linted.returncode == 0, linted.stdout + linted.stderr


def test_no_code_is_dead_and_no_allowance_for_it_is_stale():
    vulture = "import sys; from vulture.core import main; sys.argv[1:] = ['--ignore-names', 'none']; main()"
    unused = set(re.findall(r"unused \w+ '(\w+)'", run_tool(vulture).stdout))
    allowed = set(
        tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["vulture"]["ignore_names"]
    )
    assert unused <= allowed, f"used nowhere: {unused - allowed}"
    assert unused >= allowed, f"take off ignore_names in pyproject.toml, for it is used or gone: {allowed - unused}"


def long_functions():
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                lines = (node.end_lineno or node.lineno) - node.lineno + 1
                if lines > MOST_LINES_OF_A_FUNCTION:
                    yield f"{path.relative_to(ROOT).as_posix()}:{node.name}"


def test_functions_stay_short():
    assert list(long_functions()) == []


def test_a_mistake_says_by_its_class_what_is_wrong():
    """Callers go on by class; a plain UserError, or one turned into another by its text, tells them nothing."""
    plain = [
        f"{path.relative_to(ROOT).as_posix()}:{node.lineno}"
        for path in FILES
        if path.parts[len(ROOT.parts)] in PACKAGES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "UserError"
    ]
    assert plain == []


def test_files_stay_short():
    lines = {path.relative_to(ROOT).as_posix(): len(path.read_text(encoding="utf-8").splitlines()) for path in FILES}
    assert not {name: count for name, count in lines.items() if count > MOST_LINES_OF_A_FILE}


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
    ROOT / "tests/MEASURED.md",
    *(path for part in PACKAGES for path in (ROOT / part).rglob("*.md")),
]


@pytest.mark.parametrize("path", GUIDES, ids=lambda path: path.name)
def test_every_link_in_a_guide_leads_somewhere(path):
    text = path.read_text(encoding="utf-8")
    for link in (one or other for one, other in re.findall(r"\]\(([^)#\s]+)\)|src=\"([^\"]+)\"", text)):
        assert (path.parent / link).exists(), link


def test_every_guide_is_in_the_readmes_list():
    index = (ROOT / "README.md").read_text(encoding="utf-8").split("## All guides")[1]
    listed = {(ROOT / link).resolve() for link in re.findall(r"\]\(([^)]+\.md)\)", index)}
    assert listed == {path.resolve() for path in GUIDES} - {ROOT / "README.md"}


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
