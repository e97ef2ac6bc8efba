"""`swardflow settings`: what is remembered from one start to the next."""

from __future__ import annotations

import argparse

from host.cli.shared_options import add_json_argument, print_answer

DESCRIPTION = (
    "Shows what is remembered and where, and changes it with NAME=VALUE; NAME= forgets one. "
    "Options on the command line go before the settings. The file is swardflow/settings.toml in ~/.config "
    "(or $XDG_CONFIG_HOME); SWARDFLOW_SETTINGS names another. "
    "Names: rig, port, share and metrics (yes or no), units (us or metric), page_port, network_name."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("changes", nargs="*", metavar="NAME=VALUE", help="change this one")
    add_json_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Show, or change and show."""
    from dataclasses import asdict

    from host.errors import BadInputError
    from host.settings import MEANINGS, changed, load_settings, save_settings, settings_path

    settings = load_settings()
    for text in args.changes:
        name, equals, value = text.partition("=")
        if not equals:
            raise BadInputError(f"'{text}' changes nothing: write NAME=VALUE, such as page_port=8051")
        settings = changed(settings, name.strip(), value.strip())
    if args.changes:
        save_settings(settings)
    lines = [f"Settings, kept in {settings_path()}:"]
    for name, value in asdict(settings).items():
        shown = {True: "yes", False: "no", "": "–"}.get(value, value)
        lines.append(f"  {name:13} {shown!s:28} {MEANINGS[name]}")
    kept = {name: None if value == "" else value for name, value in asdict(settings).items()}
    print_answer(args, "\n".join(lines), {"file": settings_path(), "settings": kept})
    return 0
