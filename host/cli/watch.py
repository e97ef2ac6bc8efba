"""`swardflow watch`: record from a port and show the live page."""

from __future__ import annotations

import argparse
from pathlib import Path

from host.cli.record import add_record_arguments, plan_of, record_arguments

DEFAULT_PORT = 8050


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "watch",
        help="record from a board and show the live page",
        description="Records everything the board sends and serves the live page. Ctrl-C ends the run in good order.",
    )
    add_record_arguments(parser)
    add_page_arguments(parser)


def add_page_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments about the page and the runs folder, shared with `demo`."""
    parser.add_argument("--runs", type=Path, help="folder for run files (default: swardflow-runs in the home folder)")
    parser.add_argument(
        "--http-port", type=int, default=DEFAULT_PORT, metavar="N", help=f"the page's port (default: {DEFAULT_PORT})"
    )
    parser.add_argument("--no-browser", action="store_true", help="do not open the page, only print its address")
    parser.add_argument(
        "--share",
        action="store_true",
        help="open the page to the local network, for a phone: shows the address, a one-time code and a QR code."
        " Not encrypted (http): anyone on this network could read along (see dashboards/SHARING.md)",
    )
    parser.add_argument(
        "--look-only", action="store_true", help="with --share: who is let in may only look, until you allow more"
    )


def run(args: argparse.Namespace) -> int:
    """Record and show until stopped."""
    from host.run_folder import DEFAULT_FOLDER

    plan_of(args)  # a mistake should be said before anything starts
    return record_and_show(args, args.runs or DEFAULT_FOLDER, record_arguments(args))


def record_and_show(
    args: argparse.Namespace,
    runs: Path,
    record_arguments: list[str],
    board_arguments: list[str] | None = None,
    board_port: Path | None = None,
) -> int:
    """Start the recorder with `record_arguments` and the page on `runs`.

    With `board_arguments` a board is emulated first, and the rest waits until `board_port` is there.
    """
    import tempfile

    from host.cli.supervisor import Child, Together
    from host.run_folder import make_folder

    runs = make_folder(runs)
    http_port = free_port(args.http_port, shared=args.share)
    recorder = Child("recorder", ["host.cli.main", "record", *record_arguments, "--runs", str(runs)])
    board = Child("board", ["host.cli.main", "simulate", *board_arguments]) if board_arguments else None
    ready = board_port.exists if board_port else lambda: True
    with tempfile.TemporaryDirectory(prefix="swardflow-sessions-") as folder:  # for this user alone (mkdtemp)
        page_arguments = ["dashboards", "--runs", str(runs), "--port", str(http_port)]
        page_arguments += ["--sessions", str(Path(folder) / "sessions.json")]
        page_arguments += ["--share"] if args.share else []
        page_arguments += ["--look-only"] if args.look_only else []
        first = page_arguments if args.no_browser or not has_screen() else [*page_arguments, "--open"]
        page = Child("page", first, later=page_arguments)
        print(f"Run files: {runs}   Ctrl-C ends the run.", flush=True)  # the page says its own links
        return Together(recorder, page, board, board_ready=ready).run()


def free_port(wanted: int, *, shared: bool = False) -> int:
    """`wanted` if nothing listens there, else one that is free; on every address of this computer when shared."""
    import socket

    for port in (wanted, 0):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("0.0.0.0" if shared else "127.0.0.1", port))
            except (OSError, OverflowError):
                continue
            return int(probe.getsockname()[1])
    return wanted


def has_screen() -> bool:
    """Whether there is a screen to open a browser on."""
    import os
    import sys

    return not sys.platform.startswith("linux") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
