"""`swardflow ports`: the boards that are plugged in."""

from __future__ import annotations

import argparse

from host.cli.shared_options import add_json_argument, print_answer

DESCRIPTION = (
    "Lists the serial ports that a board may be at, under names that stay the same wherever it is "
    "plugged in. A port that is free is opened for a moment to ask for the firmware's version."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    parser.add_argument("--no-ask", action="store_true", help="open no port: some boards restart when theirs is opened")
    add_json_argument(parser)


def run(args: argparse.Namespace) -> int:
    """List them."""
    from host.link.found_ports import find_ports
    from host.recorder.control import recorder_at

    ports = find_ports()
    lines, answer = [], []
    for port in ports:
        recorder = recorder_at(port.device)
        if recorder:
            state = f"in use: {recorder.get('run') or 'a recording that is starting'}"
        else:
            state = "not asked" if args.no_ask else ask_firmware(port.address)
        lines.append(f"{port.label}\n  {port.address}\n  {port.device}, {state}")
        answer.append({"name": port.label, "port": port.address, "device": port.device, "state": state})
    nothing = "No board is plugged in here. One on the network has an address such as socket://192.168.4.1:23."
    print_answer(args, "\n".join(lines) or nothing, {"ports": answer})
    return 0


def ask_firmware(address: str) -> str:
    """What a board at that port says of its firmware, in words; why not when it says nothing."""
    from host.errors import UserError
    from host.link import Link

    link = Link(address)
    try:
        link.start()
    except UserError as error:
        return str(error)
    try:
        link.wait_for_board(any_protocol=True)
    except UserError as error:
        return str(error)
    finally:
        link.stop()
    identity = link.identity
    if identity is None:
        return "a board that does not say who it is"
    return f"{identity.name}, firmware {identity.firmware}, protocol {identity.protocol}"
