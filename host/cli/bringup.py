"""`swardflow bringup`: is the board on the bench a good one, and are its sensors alive?"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from host.cli.shared_options import (
    add_json_argument,
    add_out_argument,
    add_port_argument,
    add_rig_argument,
    port_named,
    rig_of,
)
from host.run_folder import numbered

if TYPE_CHECKING:
    from collections.abc import Callable

    from host.bringup import Finding, Listened
    from host.link.ports import Port


DESCRIPTION = (
    "Listens to a board, puts it through every command of the protocol, then has you blow through the "
    "meter, press, roll the wheel and work the switch. Ends with 1 if anything is not as it should be. Use clean "
    "water or air, never spray chemicals, and keep the pump off unless a step asks for it."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_port_argument(parser)
    add_rig_argument(parser, "sensors, magnets and transducer are held against it", "none")
    add_out_argument(parser, "write the result as JSON, too: a file, or a folder for one named by day", pipe=False)
    parser.add_argument("--no-hands", action="store_true", help="protocol only: nothing to blow, press or roll")
    parser.add_argument("--listen", type=_seconds, default=10.0, metavar="SECONDS", help="how long to listen (10)")
    parser.add_argument(
        "--wait", type=_seconds, default=30.0, metavar="SECONDS", help="time for each step by hand (30)"
    )
    add_json_argument(parser)


def _seconds(text: str) -> float:
    value = float(text)
    if not 1 <= value <= 3600:
        raise argparse.ArgumentTypeError(f"{text} is not between 1 and 3600 seconds")
    return value


def run(args: argparse.Namespace) -> int:
    """Try the board; 0 if all is good, 1 if something is not.

    Raises UserError when the port cannot be opened or is gone in the middle.
    """
    import time

    from host.link.ports import open_port
    from host.settings import load_settings

    args.port = port_named(args, load_settings().port)
    return try_board(args, open_port(args.port), time.monotonic)


def try_board(
    args: argparse.Namespace,
    port: Port,
    clock: Callable[[], float],
    say: Callable[[str], None] | None = None,
    ask: Callable[[str], bool | None] | None = None,
) -> int:
    """The same on an open port, which is closed at the end; `clock` gives seconds that never jump.

    `say` shows the person a line, `ask` has a question answered (None: nobody is there); by default at the terminal.
    """
    from host.bringup import Bench, Grade
    from host.bringup.document import bringup_document
    from host.bringup.trial import Person, findings_of, listened_to
    from host.documents.json import to_json
    from host.errors import NoAnswerError

    rig = rig_of(args) if args.rig else None
    findings: list[Finding] = []
    try:
        bench = Bench(port, clock)
        person = Person(say or _say, ask or _ask)
        listened = listened_to(bench, args.port, args.listen, rig)
        for finding in findings_of(bench, listened, rig, person, args.wait, hands=not args.no_hands):
            findings.append(finding)
            if not args.json:
                print(f"{finding.grade:5} {finding.what}: {finding.seen}", flush=True)
    except BrokenPipeError:
        raise  # nobody reads what we print; the port is well
    except OSError:
        raise NoAnswerError(f"the board on {args.port} was lost: plug it in again and start again") from None
    finally:
        port.close()
    document = bringup_document(listened, findings)
    text = json.dumps(to_json(document), indent=2, allow_nan=False)
    print(text if args.json else document.answer)
    if args.out:
        _keep(args.out, listened, text)
    return 1 if any(finding.grade is Grade.BAD for finding in findings) else 0


def _keep(out: Path, listened: Listened, text: str) -> None:
    """Write the result to `out`, or if that is a folder to a new file in it, named by day, minute and board.

    Raises UserError when it cannot be written.
    """
    from datetime import datetime

    from host.cli.output_file import write_new

    board = f"{listened.hardware.serial:08X}" if listened.hardware else "board"
    path = out
    if out.is_dir():
        paths = [out / f"{name}.json" for name in numbered(f"{datetime.now():%Y-%m-%dT%H%M%S}-{board}")]
        path = next((one for one in paths if not one.exists()), paths[0])  # several in one second
    write_new(path, f"{text}\n")
    _say(f"kept as {path}")


def _say(text: str) -> None:
    """To the person, not into what is printed for a machine."""
    import sys

    print(text, file=sys.stderr, flush=True)


def _ask(question: str) -> bool | None:
    """The answer of the person at the terminal; None when there is none."""
    import sys

    if not sys.stdin.isatty():
        return None
    _say(f"{question} [y/n]")
    return sys.stdin.readline().strip().lower().startswith("y")
