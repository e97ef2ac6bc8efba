"""What is said beside the answer: more, less, and kept in a file, for every command alike."""

import argparse
import re

import pytest

from host.cli.main import build_parser, main
from host.log import LOG, add_log_arguments, begin_log, end_log, is_quiet, log_arguments
from host.recorder.status_line import StatusLine
from tests.host.cli.test_options import LEAVES

# RFC 3339, UTC
LINE = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z (DEBUG|INFO|WARNING|ERROR|CRITICAL) [\w-]+: .+")


@pytest.fixture
def given(tmp_path):
    parser = argparse.ArgumentParser()
    add_log_arguments(parser)
    yield parser.parse_args
    end_log()


@pytest.mark.parametrize(("name", "parser"), [("", build_parser()), *LEAVES], ids=["", *(name for name, _ in LEAVES)])
def test_the_help_of_every_command_has_them(name, parser):
    text = parser.format_help()
    assert all(option in text for option in ("--verbose", "--quiet", "--log FILE")), name


@pytest.mark.parametrize("before", [True, False])
def test_a_log_file_has_what_was_said_with_times_in_utc(tmp_path, capsys, before):
    file, command = tmp_path / "log", ["review", str(tmp_path / "nothing.sward")]
    options = ["--log", str(file)]
    assert main([*options, *command] if before else [*command, *options]) == 2
    lines = file.read_text(encoding="utf-8").splitlines()
    assert all(LINE.fullmatch(line) for line in lines), lines
    assert [line.split()[1] for line in lines] == ["DEBUG", "ERROR", "DEBUG"]
    assert "Python 3." in lines[0] and "nothing.sward" in lines[1] and lines[2].endswith("exit code 2")
    assert "nothing.sward" in capsys.readouterr().err
    assert file.stat().st_mode & 0o077 == 0
    assert main([*options, *command]) == 2
    assert len(file.read_text(encoding="utf-8").splitlines()) == 6


def test_more_and_less(tmp_path, capsys):
    assert main(["schema", "rig", "-v"]) == 0
    assert re.search(r"ended after \d+\.\d\d s with exit code 0", capsys.readouterr().err)
    assert main(["schema", "rig", "-q"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("{") and not err
    with pytest.raises(SystemExit) as ended:
        main(["schema", "rig", "-q", "-v"])
    assert ended.value.code == 2


def test_a_log_file_that_cannot_be_written_is_one_sentence(tmp_path, capsys):
    assert main(["ports", "--no-ask", "--log", str(tmp_path)]) == 2
    assert "the log file" in capsys.readouterr().err


def test_what_nobody_foresaw_is_in_the_file_with_where_it_came_from(tmp_path, given):
    begin_log(given(["--log", str(tmp_path / "log")]), "test")
    try:
        raise ZeroDivisionError("of two\nlines")
    except ZeroDivisionError:
        LOG.critical("unforeseen: %s", "of two\nlines", exc_info=True)
    text = (tmp_path / "log").read_text(encoding="utf-8")
    assert "unforeseen: of two\\nlines" in text and "test_log.py" in text


def test_a_child_gets_what_its_parent_was_given(tmp_path, given):
    args = given(["-v", "--log", str(tmp_path / "log")])
    assert given(log_arguments(args)) == args
    assert log_arguments(given([])) == []


class Status:
    """A recording that goes on well, and then cannot write."""

    def __init__(self):
        self.asked = 0
        self.base = {"run_s": 1, "lines": 2, "link": "ok", "wire_damage": 0, "bytes_waiting": 0, "trouble": ""}
        self.base |= {"link_trouble": "", "lines_lost": 0, "state": "recording", "notices": ["rig and board differ"]}

    def __call__(self):
        self.asked += 1
        return self.base | ({"state": "disk full", "bytes_waiting": 5000} if self.asked > 1 else {})


@pytest.mark.parametrize("options", [["-q"], []])
def test_a_quiet_recording_still_says_that_it_cannot_write(tmp_path, given, options):
    import io
    import time

    begin_log(given([*options, "--log", str(tmp_path / "log")]), "record")
    out, status = io.StringIO(), Status()
    assert is_quiet() == bool(options)
    with StatusLine(status, out):
        until = time.monotonic() + 60
        while "FULL" not in out.getvalue() and time.monotonic() < until:
            time.sleep(0.05)
    assert "DISK FULL" in out.getvalue()
    text = (tmp_path / "log").read_text(encoding="utf-8")
    assert "DISK FULL" in text and "rig and board differ" in text
