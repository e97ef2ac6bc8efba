"""`swardflow bringup`: is the board on the bench a good one, and are its sensors alive?"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from host.bringup import Bench, Finding
    from host.link.ports import Port


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "bringup",
        help="try a board on the bench: protocol, sensors, buzzer",
        description="Listens to a board, puts it through every command of the protocol, then has you blow through the "
        "meter, press, roll the wheel and work the switch. Ends with 1 if anything is not as it should be. Use clean "
        "water or air, never spray chemicals, and keep the pump off unless a step asks for it.",
    )
    parser.add_argument("port", metavar="PORT", help="serial port: a device path, or a pyserial URL such as socket://…")
    parser.add_argument("--no-hands", action="store_true", help="protocol only: nothing to blow, press or roll")
    parser.add_argument("--listen", type=_seconds, default=10.0, metavar="SECONDS", help="how long to listen (10)")
    parser.add_argument(
        "--wait", type=_seconds, default=30.0, metavar="SECONDS", help="time for each step by hand (30)"
    )
    parser.add_argument("--json", action="store_true", help="print the findings for a machine")


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

    return try_board(args, open_port(args.port), time.monotonic)


def try_board(args: argparse.Namespace, port: Port, clock: Callable[[], float]) -> int:
    """The same on an open port, which is closed at the end; `clock` gives seconds that never jump."""
    from host.bringup import Bench, Grade
    from host.errors import NoAnswerError

    try:
        findings = list(_show(_all_findings(Bench(port, clock), args), quiet=args.json))
    except BrokenPipeError:
        raise  # nobody reads what we print; the port is well
    except OSError:
        raise NoAnswerError(f"the board on {args.port} was lost: plug it in again and start again") from None
    finally:
        port.close()
    bad = sum(finding.grade is Grade.BAD for finding in findings)
    if args.json:
        import json

        print(json.dumps([{"grade": f.grade, "what": f.what, "seen": f.seen} for f in findings], indent=1))
    else:
        print(f"{len(findings)} things looked at, {bad} not as they should be" if bad else "the board is good")
    return 1 if bad else 0


def _all_findings(bench: Bench, args: argparse.Namespace) -> Iterator[Finding]:
    from host.bringup import beep, by_hand, conformance, listen
    from host.errors import UserError

    _wait_for_lines(bench, args.port)
    identity, findings = listen(bench, args.listen)
    yield from findings
    if identity and identity.protocol.partition(".")[0] != "1":
        raise UserError(f"the board on {args.port} speaks protocol {identity.protocol}, which is not known here")
    yield from conformance(bench, identity)
    if identity and not args.no_hands:
        yield from by_hand(bench, identity, args.wait, _say)
        yield from beep(bench, identity, _ask)


def _wait_for_lines(bench: Bench, address: str) -> None:
    """A board that was reset by the opening of the port takes two seconds to come up."""
    from firmware_protocol.messages import BAUD
    from host.errors import NoAnswerError

    came = False
    end = bench.clock() + 5
    while bench.clock() < end:
        for line in bench.hear():
            came = True
            if not line.fault:
                return
    if came:
        raise NoAnswerError(
            f"what arrives on {address} cannot be read: set the board to {BAUD} baud, or give its own port"
        )
    raise NoAnswerError(f"no board is heard on {address}: check its power, its firmware and the cable")


def _show(findings: Iterator[Finding], quiet: bool) -> Iterator[Finding]:
    for finding in findings:
        if not quiet:
            print(f"{finding.grade:5} {finding.what}: {finding.seen}", flush=True)
        yield finding


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
