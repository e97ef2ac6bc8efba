"""`swardflow demo`: the whole way from an emulated sprayer to the live page, without any hardware."""

from __future__ import annotations

import argparse

_SCENARIO = "demo"


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    from host.cli.watch import add_page_arguments

    parser = commands.add_parser(
        "demo",
        help="an emulated sprayer, recorded and shown live: no hardware needed",
        description="Starts an emulated sprayer on a pseudo-terminal, records it and serves the live page.",
    )
    parser.add_argument("--scenario", default=_SCENARIO, help="scenario file or name (default: %(default)s)")
    parser.add_argument("--speed", default="1", metavar="N", help="times real time (default: 1)")
    add_page_arguments(parser)


def run(args: argparse.Namespace) -> int:
    """Emulate, record and show until stopped."""
    import tempfile
    from pathlib import Path

    from host.cli.watch import record_and_show
    from host.run_folder import DEFAULT_FOLDER, DEMO
    from host.simulate.scenario import load_scenario

    scenario = load_scenario(args.scenario)
    with tempfile.TemporaryDirectory(prefix="swardflow-demo-") as folder:
        port, rig = Path(folder) / "board", Path(folder) / "rig.toml"
        notes = ["--note", f"scenario={scenario.title}", "--note", "product=clean water"]
        rig.write_text(scenario.rig.toml, encoding="utf-8")
        return record_and_show(
            args,
            args.runs or DEFAULT_FOLDER / DEMO,
            [str(port), "--rig", str(rig), "--cards", folder, *notes],
            [args.scenario, "--speed", args.speed, "--link", str(port)],
            port,
        )
