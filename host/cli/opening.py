"""What `open`, `watch` and `demo` share: the pages over a folder of runs, with a recorder beside them."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from host.errors import NoAnswerError
from host.log import LOG, log_arguments

if TYPE_CHECKING:
    from host.recorder.supervision import RunRequest
    from host.settings import Settings

EMULATED = "Emulated board"


@dataclass(frozen=True)
class Emulation:
    """A board to emulate: the arguments of `simulate`, the port where it will be, the rig that it is.

    `ready` says whether the port can be opened yet.
    """

    arguments: list[str]
    port: str
    rig: Path
    ready: Callable[[], bool]


def add_page_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments about the pages."""
    from host.settings import DEFAULT_PAGE_PORT

    parser.add_argument(
        "--http-port",
        type=int,
        metavar="N",
        help=f"the pages' port, 0 for any that is free (default: the setting page_port, or {DEFAULT_PAGE_PORT})",
    )
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser, only print the address")
    parser.add_argument(
        "--share",
        action=argparse.BooleanOptionalAction,
        help="open the pages to the local network, for a phone: shows the address, a one-time code and a QR code."
        " Not encrypted (http): anyone on this network could read along (see dashboards/SHARING.md)."
        " Default: the setting share",
    )
    parser.add_argument(
        "--metrics",
        action=argparse.BooleanOptionalAction,
        help="answer programs at /metrics, in the text exposition format; they need the key that is shown."
        " Default: the setting metrics",
    )
    parser.add_argument(
        "--look-only", action="store_true", help="with --share: who is let in may only look, until you allow more"
    )
    parser.add_argument(
        "--take-over",
        action="store_true",
        help="if another Swardflow of yours serves pages on this port, or records from this board, end that first",
    )


def open_pages(
    args: argparse.Namespace,
    runs: Path,
    settings: Settings,
    first: RunRequest | None = None,
    emulation: Emulation | None = None,
) -> int:
    """Serve the pages on `runs` until stopped, and record what they ask for; `first` is a run to start at once."""
    import tempfile

    from host.cli.child import Child
    from host.cli.page_port import free_port, take_over
    from host.cli.recorder_keeper import EmulatedBoard, RecorderKeeper
    from host.cli.supervisor import Together
    from host.page_links import forget_links
    from host.run_folder import make_folder

    runs = make_folder(runs)
    shared = settings.share if args.share is None else args.share
    wanted = settings.page_port if args.http_port is None else args.http_port
    if args.take_over:
        take_over(wanted)
    http_port = free_port(wanted, shared=shared)
    with tempfile.TemporaryDirectory(prefix="swardflow-") as name:  # for this user alone (mkdtemp)
        folder = Path(name)
        channel, report = folder / "supervisor.sock", folder / "recorder.json"
        cards = [f"--cards={args.cards}"] if getattr(args, "cards", None) else []

        said = log_arguments(args)

        def recorder(arguments: Sequence[str]) -> Child:
            own = [f"--runs={runs}", f"--report={report}", *cards, *said]
            return Child("recorder", ["host.cli.main", "record", *own, *arguments])

        board = None
        if emulation:
            child = Child("board", ["host.cli.main", "simulate", *said, *emulation.arguments])
            board = EmulatedBoard(child, emulation.port, emulation.ready)
        keeper = RecorderKeeper(recorder, report, board, say=LOG.warning, exits=first is not None)
        page_arguments = ["dashboards", f"--runs={runs}", f"--http-port={http_port}", f"--supervisor={channel}", *said]
        page_arguments += [f"--sessions={folder / 'sessions.json'}", "--use-settings"]
        page_arguments += ["--share"] if shared else []
        page_arguments += [f"--name={settings.network_name}"] if settings.network_name else []
        page_arguments += ["--own-code"] if settings.own_code else []
        page_arguments += ["--metrics"] if (settings.metrics if args.metrics is None else args.metrics) else []
        page_arguments += ["--look-only"] if args.look_only else []
        page_arguments += [f"--emulated={emulation.port}", f"--rig={emulation.rig}"] if emulation else []
        browsed = page_arguments if args.no_browser or not has_screen() else [*page_arguments, "--open"]
        page = Child("page", browsed, later=page_arguments)
        LOG.info("Run files: %s   Ctrl-C ends everything.", runs)  # the page says its own links
        try:
            return Together(keeper, page, first, _channels(channel, http_port), say=LOG.warning).run()
        finally:
            forget_links(http_port)  # pages that were killed leave theirs


def _channels(own: Path, http_port: int) -> list[Path]:
    """Where the pages ask, and where those ask who find their port taken."""
    from host.cli.page_port import channel_of, pages_at

    try:
        return [own] if pages_at(http_port) else [own, channel_of(http_port)]
    except NoAnswerError:  # no folder for sockets: the recorder says so where it matters
        return [own]


def has_screen() -> bool:
    """Whether there is a screen to open a browser on."""
    import os
    import sys

    return not sys.platform.startswith("linux") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
