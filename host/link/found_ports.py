"""The serial ports that a board may be at, each under a name that lasts."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

BY_ID = Path("/dev/serial/by-id")


@dataclass(frozen=True)
class FoundPort:
    """A port: `address` opens it and stays the same wherever it is plugged in, if the system has such a name.

    `device` is what the system calls it today, `label` what its plug says of itself.
    """

    address: str
    device: str
    label: str


def find_ports(listed: Callable[[], Iterable[Any]] | None = None, by_id: Path = BY_ID) -> list[FoundPort]:
    """The USB serial ports of this computer, in the order of their names. `listed`: as pyserial's comports."""
    if listed is None:
        from serial.tools.list_ports import comports

        listed = comports
    lasting = _lasting(by_id)
    found = [
        FoundPort(lasting.get(str(Path(port.device).resolve()), port.device), port.device, _label(port))
        for port in listed()
        if port.vid is not None
    ]
    return sorted(found, key=lambda port: port.device)


def _lasting(by_id: Path) -> dict[str, str]:
    """The lasting name of each device that udev gave one (/dev/serial/by-id)."""
    try:
        links = sorted(by_id.iterdir())
    except OSError:
        return {}
    return {str(link.resolve()): str(link) for link in links}


def _label(port: Any) -> str:
    words = " ".join(part for part in (port.manufacturer, port.product) if part)
    return words or (port.description if port.description not in (None, "n/a") else "") or "USB serial port"
