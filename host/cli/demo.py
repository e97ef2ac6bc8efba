"""`swardflow demo`: the whole way from an emulated sprayer to the live page, without any hardware."""

from __future__ import annotations

import argparse
import socket
from pathlib import Path
from typing import TYPE_CHECKING

from host.cli.opening import add_page_arguments
from host.cli.shared_options import add_runs_argument

if TYPE_CHECKING:
    from host.cli.opening import Emulation
    from host.rig import Rig

_SCENARIO = "demo"


DESCRIPTION = "Starts an emulated sprayer on a pseudo-terminal, records it and serves the live page."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument(
        "--scenario", default=_SCENARIO, metavar="SCENARIO", help="scenario file or name (default: %(default)s)"
    )
    parser.add_argument("--speed", default="1", metavar="N", help="times real time (default: 1)")
    add_runs_argument(parser)
    add_page_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Emulate, record and show until stopped."""
    import tempfile

    from host.cli.opening import open_pages
    from host.recorder.supervision import RunRequest
    from host.run_folder import DEFAULT_FOLDER, DEMO
    from host.settings import load_settings
    from host.simulate.scenario import load_scenario

    title = load_scenario(args.scenario).title
    with tempfile.TemporaryDirectory(prefix="swardflow-demo-") as folder:
        emulation = emulation_of(args.scenario, args.speed, Path(folder))
        args.cards = folder  # the cards of a real sprayer are not the emulated one's
        notes = {"scenario": title, "product": "clean water"}
        first = RunRequest(emulation.port, str(emulation.rig), notes=notes)
        return open_pages(args, args.runs or DEFAULT_FOLDER / DEMO, load_settings(), first, emulation)


def emulation_of(name: str, speed: str, folder: Path) -> Emulation:
    """The emulated board of a scenario, with its port and its rig file in `folder`. Raises UserError."""
    from host.cli.opening import Emulation
    from host.cli.simulate import has_pseudo_terminals
    from host.simulate.scenario import load_scenario

    scenario = load_scenario(name)
    rig = folder / "emulated.toml"
    rig.write_text(_asked_for_usual_interval(scenario.rig), encoding="utf-8")
    arguments = [name, "--speed", speed, "--link"]
    if not has_pseudo_terminals():
        number = _free_port()
        port = f"socket://127.0.0.1:{number}"
        return Emulation([*arguments, port], port, rig, lambda: not _is_free(number))
    board = folder / "board"
    return Emulation([*arguments, str(board)], str(board), rig, board.exists)


def _asked_for_usual_interval(rig: Rig) -> str:
    """The rig file, as a new one would be: a scenario's own leaves the board as it is."""
    from host.setup.questions import REPORT_INTERVAL, USUAL_INTERVAL

    return rig.toml if rig.report_interval_ms else f'{REPORT_INTERVAL} = "{USUAL_INTERVAL}"\n{rig.toml}'


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as door:
        return int(door.getsockname()[1])


def _is_free(number: int) -> bool:
    """Whether nobody listens there; asked without a connection, which the board would take for its reader."""
    try:
        socket.create_server(("127.0.0.1", number)).close()
    except OSError:
        return False
    return True
