"""`swardflow tell`: say something to a recorder that is running."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from host.cli.shared_options import add_json_argument, print_answer
from host.cli.which_run import add_run_arguments, run_path

WHAT = {
    "refill": "the tank was filled to its full volume, or a volume such as '5 gal' was added",
    "mark": "mark this moment, with a text",
    "pause": "the work pauses; the run is recorded all the same",
    "resume": "the work goes on",
    "note": "add a note, as KEY=TEXT",
    "beep": "sound the buzzer on the board for half a second",
    "stop": "end the run in good order",
    "status": "print how things stand, as JSON",
    "follow": "print every report of the run as a line of JSON, from its first on, SI units in the keys, until it ends",
}
_BEEP_TENTHS = 5
_LOOK_S = 0.1


DESCRIPTION = "Talks to the recorder of a run. " + " ".join(f"{what}: {text}." for what, text in WHAT.items())


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_run_arguments(parser)
    parser.add_argument("what", choices=WHAT, metavar="WHAT", help=" | ".join(WHAT))
    parser.add_argument("text", nargs="*", metavar="TEXT", help="text that goes with it")
    add_json_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Put one request to the recorder."""
    import json

    from host.recorder import ask

    path = run_path(args)
    if args.what == "follow":
        return _follow(path)
    reply = ask(path, request_for(args.what, " ".join(args.text)))
    words = (
        json.dumps(reply, indent=2) if args.what == "status" else f"{args.what}: told to the recorder of {path.name}"
    )
    print_answer(args, words, reply)
    return 0


def _follow(path: Path) -> int:
    """Print rows as they come; 1 when the recording ended without saying so."""
    import json
    import time

    from host.recorder import follow
    from host.recorder.follow import NOT_RUNNING
    from host.recorder.live_rows import LiveRows

    rows = LiveRows(path.stem)
    with follow(path) as run:
        while not rows.ended:
            # Asked first: what a recorder wrote before it ended is in the file by then.
            gone = run.status() == NOT_RUNNING
            data = run.poll()
            for row in rows.push(data):
                print(json.dumps(row, allow_nan=False), flush=True)
            if not data:
                if gone:
                    return 1
                time.sleep(_LOOK_S)
    return 0


def request_for(what: str, text: str) -> dict[str, Any]:
    """The request for the recorder; UserError for a note that is not KEY=TEXT or a refill that is no volume."""
    from host.cli.record import note_of
    from host.events import WORK_PAUSED, WORK_RESUMED
    from host.units import parse_quantity

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
        case "refill" if text not in ("", "full"):
            return {"ask": "event", "kind": what, "added_m3": parse_quantity(text, "volume", "refill")}
    return {"ask": "event", "kind": {"pause": WORK_PAUSED, "resume": WORK_RESUMED}.get(what, what), "text": text}
