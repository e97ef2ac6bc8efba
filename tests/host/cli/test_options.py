"""One name for one option: looked at over every command there is."""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterator

import pytest

from host.cli.main import Parser, build_parser, main

# What has no answer: it goes on until it is ended, or prints a file or a protocol.
SILENT = {"open", "watch", "record", "demo", "replay", "service", "schema"}
TWO_MEANINGS = {
    "--out": "a dataset is a folder of files",
    "--product": "in 'mix' the dose stands for its product, elsewhere its name is searched for",
    "--speed": "of a walker, or of the clock of what is simulated",
    "--step": "of a walker, or of a jug and a balance",
    "--note": "of the run that begins, or ('runs') of one that is named first",
}


def commands() -> Iterator[tuple[str, Parser]]:
    """Every command that takes no further one, with its name."""
    parser = build_parser()
    parser.fill(deep=True)
    waiting: list[tuple[str, argparse.ArgumentParser]] = [("", parser)]
    while waiting:
        name, parser = waiting.pop()
        within = [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]
        for action in within:
            waiting += [(f"{name} {word}".strip(), each) for word, each in action.choices.items()]
        if not within:
            yield name, parser


LEAVES = sorted(commands())


def options(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    for action in parser._actions:
        if action.option_strings and not isinstance(action, argparse._HelpAction) and action.help != argparse.SUPPRESS:
            yield action


def what_to_give(action: argparse.Action) -> str:
    if action.nargs == 0:
        return "nothing"
    if action.metavar is None and action.choices is not None:
        return ", ".join(map(str, action.choices)).removesuffix(", si")
    return str(action.metavar)


def test_an_option_takes_the_same_wherever_it_stands():
    taken = defaultdict(lambda: defaultdict(list))
    for name, parser in LEAVES:
        if name.startswith(("rig new", "rig change")):
            continue  # each of its options is a key of the rig file
        for action in options(parser):
            for word in action.option_strings:
                taken[word][what_to_give(action)].append(name)
    differ = {word for word, what in taken.items() if len(what) > 1}
    assert differ == set(TWO_MEANINGS), {word: dict(taken[word]) for word in differ - set(TWO_MEANINGS)}


@pytest.mark.parametrize(("name", "parser"), LEAVES, ids=[name for name, _ in LEAVES])
def test_a_command_says_what_to_give_and_answers_a_program(name, parser):
    assert not parser.allow_abbrev
    for action in parser._actions:
        if action.nargs != 0 and action.help != argparse.SUPPRESS:
            assert action.help and (action.metavar or action.choices), (name, action.dest)
    words = {word for action in options(parser) for word in action.option_strings}
    assert name.split()[0] in SILENT or "--json" in words
    named = [action.dest for action in parser._actions if not action.option_strings]
    assert not {"port", "out", "runs", "folder", "rest_of_line"} & set(named), "these are options, everywhere"


def test_the_board_and_files_have_one_name():
    words = {word for _, parser in LEAVES for action in options(parser) for word in action.option_strings}
    assert {"--port", "--runs", "--out", "--rig", "--units", "--json"} <= words
    assert not {"--device", "--output", "--write", "--save", "--keep", "--report", "--csv", "--file"} & words


@pytest.mark.parametrize("words", [["backup", "--out", "-"], ["simulate", "demo", "--out", "-"]])
def test_what_does_not_go_into_a_pipe_says_so(words, capsys):
    with pytest.raises(SystemExit) as stop:
        main(words)
    assert stop.value.code == 2
    err = capsys.readouterr().err
    assert "this does not go into a pipe: name a file" in err and err.count("\n") == 1
