"""Options that mean the same wherever they stand: `--port`, `--rig`, `--runs`, `--out`, `--units`, `--json`."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host.run_folder import DEFAULT_FOLDER

if TYPE_CHECKING:
    from host.rig import Rig

PIPE = Path("-")


def add_port_argument(parser: argparse.ArgumentParser, words: str = "") -> None:
    """The board; `words` stand in place of what is said of the default."""
    words = words or " (default: the setting port)"
    what = "the board's serial port: a device path, or a pyserial URL such as socket://…"
    parser.add_argument("--port", metavar="PORT", help=f"{what}{words}")


def port_named(args: argparse.Namespace, remembered: str) -> str:
    """The port that was given, else the one `remembered`. Raises UserError when there is neither."""
    from host.errors import BadInputError

    port = args.port or remembered
    if not port:
        raise BadInputError(
            "no port was given: name one with --port, see them with 'swardflow ports', or remember one with "
            "'swardflow settings port=PORT'"
        )
    return str(port)


def add_rig_argument(parser: argparse.ArgumentParser, what: str, default: str = "the setting rig") -> None:
    """The sprayer: None when it is not given."""
    words = f"{what}: a rig file, or a name that 'swardflow rig list' shows (default: {default})"
    parser.add_argument("--rig", type=Path, metavar="RIG", help=words)


def rig_path(args: argparse.Namespace, remembered: str) -> Path:
    """The rig file that was named, else the one `remembered`. Raises UserError when there is neither."""
    from host.errors import BadInputError
    from host.rig.known import find_rig

    rig = str(args.rig) if args.rig else remembered
    if not rig:
        raise BadInputError("no rig was given: name one with --rig, or remember one with 'swardflow settings rig=FILE'")
    return find_rig(rig, vars(args).get("runs") or DEFAULT_FOLDER)


def rig_of(args: argparse.Namespace) -> Rig:
    """The rig that was named, else the one that is remembered. Raises UserError."""
    from host.rig import load_rig
    from host.settings import load_settings

    return load_rig(rig_path(args, load_settings().rig))


def add_runs_argument(parser: argparse.ArgumentParser) -> None:
    """The folder of runs; None when it is not given."""
    parser.add_argument(
        "--runs",
        type=Path,
        metavar="FOLDER",
        help=f"folder with run files, in folders of their own if you like (default: {DEFAULT_FOLDER})",
    )


def add_out_argument(parser: argparse.ArgumentParser, words: str, *, pipe: bool, **options: Any) -> None:
    """The file to write; with `pipe` also `-`, for standard output."""
    kind = Path if pipe else _file
    parser.add_argument("--out", type=kind, metavar="FILE", help=words, **options)


def _file(text: str) -> Path:
    if text == "-":
        raise argparse.ArgumentTypeError("this does not go into a pipe: name a file")
    return Path(text)


def add_units_argument(parser: argparse.ArgumentParser, default: str = "the rig's", *more: str) -> None:
    """Which units are shown; `more` names others than the two that people use."""
    choices = ("us", "metric", *more)
    parser.add_argument("--units", choices=choices, help=f"units to show (default: {default})")


def add_json_argument(parser: argparse.ArgumentParser) -> None:
    """The answer for a program."""
    parser.add_argument("--json", action="store_true", help="print JSON, with units in the keys")


def print_answer(args: argparse.Namespace, words: str, answer: Mapping[str, Any]) -> None:
    """Print what a command did: in `words`, or with `--json` as `answer`."""
    print(json.dumps(answer, indent=2, allow_nan=False, default=str) if args.json else words)
