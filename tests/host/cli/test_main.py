"""The command line as a person meets it."""

import subprocess
import sys

import pytest

from host.cli.main import COMMANDS, build_parser, main


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
