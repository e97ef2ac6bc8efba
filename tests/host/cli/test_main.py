"""The command line as a person meets it."""

import os
import shlex
import subprocess
import sys

import pytest

from host.cli.commands import COMMANDS, GROUPS
from host.cli.examples import EXAMPLES
from host.cli.main import build_parser, main


def test_help_names_every_command_and_imports_nothing_heavy():
    # What makes --help slow is importing; so that is what is looked at, not the clock.
    code = (
        "import sys; from host.cli.main import build_parser; text = build_parser().format_help();"
        "heavy = {'pandas', 'pint', 'dash', 'plotly', 'numpy', 'scipy', 'fastapi', 'serial'} & set(sys.modules);"
        "print(text); print('HEAVY', sorted(heavy))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert out.rstrip().endswith("HEAVY []")
    for command in COMMANDS:
        assert command in out


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(command, capsys):
    with pytest.raises(SystemExit) as stop:
        build_parser().parse_args([command, "--help"])
    assert stop.value.code == 0
    assert len(capsys.readouterr().out) > 100


def test_a_mistake_is_one_sentence_and_exit_code_2(tmp_path, capsys):
    assert main(["review", str(tmp_path / "none.sward")]) == 2
    err = capsys.readouterr().err
    assert err.startswith("swardflow: ")
    assert err.count("\n") == 1
    assert "Traceback" not in err


@pytest.mark.parametrize("content", [b"", b"\x00\xff" * 400, b"a,b\n1,2\n", b"H 000000.000000 {} 00000000\n"])
def test_foreign_files_are_refused_in_one_sentence(tmp_path, capsys, content):
    path = tmp_path / "foreign.sward"
    path.write_bytes(content)
    assert main(["review", str(path)]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_version(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("swardflow ")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["reviw", "latest"], "'reviw' is not known: did you mean review?"),
        (["review", "latest", "--no-fau"], "--no-fau is not known: did you mean --no-faults?"),
        (["runs", "--sit", "lawn"], "--sit is not known: did you mean --site?"),
        (["review", "latest", "--units", "metrc"], "'metrc' is not known: did you mean metric?"),
        (["review", "latest", "--qqqqqqq"], "--qqqqqqq is not known; see"),
        (["review", "latest", "--units", "furlong"], "(choose from us, metric)"),
    ],
)
def test_a_slip_is_told_with_what_was_meant_and_nothing_is_shortened(words, said, capsys):
    with pytest.raises(SystemExit) as stop:
        main(words)
    assert stop.value.code == 2
    err = capsys.readouterr().err
    assert said in err and err.count("\n") == 1


def test_every_command_stands_in_one_group_and_shows_examples_that_are_taken(capsys):
    names = [name for group in GROUPS.values() for name in group]
    assert len(names) == len(set(names)) and set(names) == set(EXAMPLES)
    for name, lines in EXAMPLES.items():
        for line in lines:
            words = shlex.split(line.split(" > ")[0])
            assert words[:2] == ["swardflow", name]
            build_parser().parse_args(words[1:])
    with pytest.raises(SystemExit):
        build_parser().parse_args(["export", "--help"])
    assert "\n  swardflow export latest --out - > run.csv\n" in capsys.readouterr().out
    for title in GROUPS:
        assert f"\n{title}:\n" in build_parser().format_help()


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("swardflow rev", ["review"]),
        ("swardflow review --no-f", ["--no-faults"]),
        ("swardflow calibrate whe", ["wheel"]),
        ("swardflow calibrate meter --acce", ["--accept"]),
    ],
)
def test_a_shell_completes_commands_and_options(typed, offered, tmp_path):
    """As bash asks: argcomplete's protocol, answers into a file."""
    asked = {
        "_ARGCOMPLETE": "1",
        "_ARGCOMPLETE_SUPPRESS_SPACE": "1",
        "_ARGCOMPLETE_STDOUT_FILENAME": str(tmp_path / "out"),
        "COMP_LINE": typed,
        "COMP_POINT": str(len(typed)),
        "COMP_TYPE": "9",
    }
    code = "import sys; sys.argv[0] = 'swardflow'; from host.cli.main import main; main([])"
    subprocess.run([sys.executable, "-c", code], env=os.environ | asked, check=False)
    assert (tmp_path / "out").read_text(encoding="utf-8").replace("\v", "\n").split() == offered
