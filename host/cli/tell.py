"""`swardflow tell`: say something to a recorder that is running."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

WHAT = {
    "refill": "the tank was filled to its full volume",
    "mark": "mark this moment, with a text",
    "note": "add a note, as KEY=TEXT",
    "beep": "sound the buzzer on the board for half a second",
    "stop": "end the run in good order",
    "status": "print how things stand, as JSON",
}
_BEEP_TENTHS = 5


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "tell",
        help="tell a running recorder: refill, mark, note, beep, stop",
        description="Talks to the recorder of a run. " + " ".join(f"{what}: {text}." for what, text in WHAT.items()),
    )
    parser.add_argument("run", metavar="RUN", help="run file, its name in the folder for runs, or 'latest'")
    parser.add_argument("what", choices=WHAT, metavar="WHAT", help=" | ".join(WHAT))
    parser.add_argument("text", nargs="*", metavar="TEXT", help="text that goes with it")
    parser.add_argument("--runs", type=Path, help="folder for run files (default: see --help of record)")


def run(args: argparse.Namespace) -> int:
    """Put one request to the recorder."""
    import json

    from host.cli.record import DEFAULT_RUNS
    from host.recorder import ask, find_run

    path = find_run(args.run, args.runs or DEFAULT_RUNS)
    reply = ask(path, request_for(args.what, " ".join(args.text)))
    if args.what == "status":
        print(json.dumps(reply, indent=2))
    else:
        print(f"{args.what}: told to the recorder of {path.name}")
    return 0


def request_for(what: str, text: str) -> dict[str, Any]:
    """The request for the recorder; UserError for a note that is not KEY=TEXT."""
    from host.cli.record import note_of

    match what:
        case "beep":
            return {"ask": "output", "buzzer": 1, "light": 0, "tenths": _BEEP_TENTHS}
        case "note":
            key, value = note_of(text)
            return {"ask": "note", "key": key, "value": value}
        case "stop":
            return {"ask": "stop", "reason": text or "told to stop"}
        case "status":
            return {"ask": "status"}
    return {"ask": "event", "kind": what, "text": text}
