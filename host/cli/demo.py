"""`swardflow demo`: the whole way from an emulated sprayer to the live page, without any hardware."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from host.cli.opening import Emulation

_SCENARIO = "demo"


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    from host.cli.opening import add_page_arguments, add_runs_argument

    parser = commands.add_parser(
        "demo",
        help="an emulated sprayer, recorded and shown live: no hardware needed",
        description="Starts an emulated sprayer on a pseudo-terminal, records it and serves the live page.",
    )
    parser.add_argument("--scenario", default=_SCENARIO, help="scenario file or name (default: %(default)s)")
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
        first = RunRequest(str(emulation.port), str(emulation.rig), notes=notes)
        return open_pages(args, args.runs or DEFAULT_FOLDER / DEMO, load_settings(), first, emulation)


def emulation_of(name: str, speed: str, folder: Path) -> Emulation:
    """The emulated board of a scenario, with its port and its rig file in `folder`. Raises UserError."""
    from host.cli.opening import Emulation
    from host.simulate.scenario import load_scenario

    scenario = load_scenario(name)
    port, rig = folder / "board", folder / "emulated.toml"
    rig.write_text(scenario.rig.toml, encoding="utf-8")
    return Emulation([name, "--speed", speed, "--link", str(port)], port, rig)
