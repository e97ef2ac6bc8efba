"""`swardflow schema`: what a rig file or a scenario may hold, for editors that complete TOML."""

from __future__ import annotations

import argparse

from host.cli.shared_options import PIPE, add_out_argument

DESCRIPTION = (
    "Prints the JSON Schema of rig files or scenarios. An editor that knows it completes every key,"
    " says what it means and marks what is wrong."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("what", choices=("rig", "scenario"), help="which kind of file")
    add_out_argument(
        parser, "write it here instead, such as rig.schema.json (default: -, printed)", pipe=True, default=PIPE
    )


def run(args: argparse.Namespace) -> int:
    """Print or write the schema."""
    import json

    from host.cli.output_file import write_new
    from host.rig.tables import RIG
    from host.schema import editor_schema
    from host.simulate.scenario import SCENARIO

    table = RIG if args.what == "rig" else SCENARIO
    text = json.dumps(editor_schema(table, f"Swardflow {args.what} file"), indent=2) + "\n"
    write_new(args.out, text)
    return 0
