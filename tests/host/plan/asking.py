"""The calculating commands in this process: exit code, what is printed, what is said about a mistake."""

from __future__ import annotations

import contextlib
import io
import json
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from host.cli.main import main

EXAMPLES = files("host.rig").joinpath("examples")
US, METRIC = (str(EXAMPLES / f"harrow-lea-{name}.toml") for name in ("pull-behind", "walker"))


@dataclass(frozen=True)
class Answer:
    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def ask(*words: str) -> Answer:
    """Run the command; a mistake in the words themselves ends argparse, as on a terminal."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = main(list(words))
        except SystemExit as ended:
            code = int(ended.code or 0)
    return Answer(code, out.getvalue(), err.getvalue())


def ask_rig(*words: str, rig: str = US) -> Answer:
    """The same for the example rig, with cards of nobody."""
    cards = ["--cards", "/nonexistent"] if words[0] == "plan" else []
    return ask(*words, "--rig", rig, *cards)
