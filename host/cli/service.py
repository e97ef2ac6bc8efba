"""`swardflow service`: have the sprayer's computer open the pages by itself when it is switched on (Linux, systemd)."""

from __future__ import annotations

import argparse
import os
import re
import sys
from pathlib import Path

from host.cli.shared_options import add_runs_argument
from host.errors import NotNowError, NotSavedError
from host.whole_file import write_whole

UNIT = "swardflow.service"
RULE = "60-swardflow.rules"
_UNIT = """\
[Unit]
Description=Swardflow: flow monitor and run logger of a sprayer
{after}
[Service]
Type=exec
ExecStart={command}
Restart=on-failure
RestartSec=5
# What has been recorded is brought to the disk first: a run ends in good order when the computer is switched off.
KillMode=mixed
TimeoutStopSec=30
NoNewPrivileges=yes
{more}
[Install]
WantedBy={target}
"""
# USB serial ports are handed to the user at the screen, and to the group that owns serial ports already.
_RULES = """\
# Swardflow: whoever uses this computer may open the board's USB serial port, and no program for modems tries it first.
SUBSYSTEM=="tty", SUBSYSTEMS=="usb", TAG+="uaccess", GROUP="dialout", MODE="0660", ENV{ID_MM_DEVICE_IGNORE}="1"
"""


DESCRIPTION = (
    "Prints a systemd unit that runs 'swardflow open' at power-on, and with --udev the rule that "
    "lets you open the board's port. By default a unit of your own user; --install writes it to its place. "
    "Port, sharing and the rest come from 'swardflow settings'."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_runs_argument(parser)
    parser.add_argument("--system", metavar="USER", help="a unit of the system instead, which runs as this user")
    parser.add_argument("--udev", action="store_true", help="the udev rule for the board's port instead")
    parser.add_argument("--install", action="store_true", help="write it to its place, and say what to do next")


def run(args: argparse.Namespace) -> int:
    """Print or install."""
    text = _RULES if args.udev else unit_text(args.runs, args.system, sys.executable)
    if not args.install:
        print(text, end="")
        return 0
    if not sys.platform.startswith("linux"):
        raise NotNowError("systemd is of Linux alone: start 'swardflow open' by the means of your own system")
    path = place(udev=args.udev, system=args.system is not None)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, text.encode())
    except OSError as error:
        raise NotSavedError(
            f"{path} cannot be written ({(error.strerror or '').lower()}): run the command as root, such as with sudo"
        ) from None
    print(f"Written: {path}\nNext:\n{next_steps(udev=args.udev, system=args.system is not None)}")
    return 0


def unit_text(folder: Path | None, user: str | None, python: str) -> str:
    """The unit: of the user's own manager, or of the system's for `user`."""
    runs = [] if folder is None else ["--runs", str(folder.expanduser().absolute())]
    words = [python, "-P", "-m", "host.cli.main", "open", *runs, "--no-browser"]
    if user is None:
        after, more, target = "", "", "default.target"
    else:
        after, more, target = (
            "After=network.target\n",
            f"User={user}\nSupplementaryGroups=dialout\n",
            "multi-user.target",
        )
    return _UNIT.format(command=" ".join(map(quoted, words)), after=after, more=more, target=target)


def quoted(word: str) -> str:
    """A word of a command line in a unit (systemd.service(5), "Command lines"): nothing in it is expanded."""
    safe = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return safe if re.fullmatch(r"[A-Za-z0-9_./@:=+,-]+", safe) else f'"{safe}"'


def place(*, udev: bool, system: bool) -> Path:
    """Where the file belongs."""
    if udev:
        return Path("/etc/udev/rules.d") / RULE
    if system:
        return Path("/etc/systemd/system") / UNIT
    home = os.environ.get("XDG_CONFIG_HOME") or "~/.config"
    return Path(home).expanduser() / "systemd" / "user" / UNIT


_FOR_A_PHONE = """\
  To open the pages from a phone after every power-on, before the first start:
  swardflow settings share=yes own_code=yes{who}
  and once it runs:
  swardflow link     (shows the address, and a code of your own that goes on holding: write it down)"""


def next_steps(*, udev: bool, system: bool) -> str:
    """The commands that make it work."""
    if udev:
        return "  sudo udevadm control --reload\n  then unplug the board and plug it in again"
    if system:
        return (
            f"  sudo systemctl daemon-reload\n  sudo systemctl enable --now {UNIT}\n"
            f"{_FOR_A_PHONE.format(who='     (both as the user of the service)')}"
        )
    return (
        f"  systemctl --user daemon-reload\n  systemctl --user enable --now {UNIT}\n"
        "  sudo loginctl enable-linger $USER     (so that it starts without anybody logging in)\n"
        f"{_FOR_A_PHONE.format(who='')}"
    )
