"""The serial line to the board: bytes in, commands out, and back again by itself after an unplugged plug."""

from host.link.link import LineRead, Link, LinkChange
from host.link.ports import Port, open_port

__all__ = ["LineRead", "Link", "LinkChange", "Port", "open_port"]
