"""The argument RUN, which several commands share."""

from __future__ import annotations

import argparse
from pathlib import Path

from host.errors import UserError


def add_run_arguments(parser: argparse.ArgumentParser) -> None:
    """RUN and the folder it may lie in."""
    parser.add_argument("run_name", metavar="RUN", help="run file (*.sward), its name in the runs folder, or 'latest'")
    parser.add_argument("--runs", type=Path, help="folder with run files (default: swardflow-runs in the home folder)")


def run_path(args: argparse.Namespace) -> Path:
    """The run file meant.

    Raises UserError when there is none, or more than one.
    """
    return run_named(args.run_name, args.runs)


def run_named(text: str, runs: Path | None) -> Path:
    """The run file meant by `text`: a path, "latest", a name in the runs folder, or a bare name from a folder in it.

    Raises UserError when there is none, or more than one in folders of the runs folder.
    """
    from host.recorder.folder import DEFAULT_FOLDER, find_run

    folder = (runs or DEFAULT_FOLDER).expanduser()
    try:
        return find_run(text, folder)
    except UserError:
        deeper = _deeper(text, folder)
        if not deeper:
            raise
    if len(deeper) > 1:
        places = " and ".join(deeper[:2])
        raise UserError(f"{text} is the name of {len(deeper)} runs in {folder}, such as {places}: give the folder too")
    return folder / deeper[0]


def _deeper(text: str, folder: Path) -> list[str]:
    """Names of the runs in folders of `folder` that are called so."""
    if not folder.is_dir():
        return []
    from host.library.files import SUFFIX, files_of

    name = text.removesuffix(SUFFIX) + SUFFIX
    return sorted(one.name for one in files_of(folder)[0] if one.path.name == name)
