"""Where this computer can be reached on the local network, asked of the computer alone."""

from __future__ import annotations

import socket
from ipaddress import IPv4Address

# Networks inside this computer, which no phone is on.
_INNER = ("docker", "br-", "veth", "virbr", "vmnet", "vboxnet", "lxc", "tun", "tap", "wg", "utun", "zt", "tailscale")
_ELSEWHERE = ("192.0.2.1", 9)  # TEST-NET-1 (RFC 5737): stands for any address that is not on the own network


def own_names() -> frozenset[str]:
    """The computer's name, also as the local network knows it (mDNS, RFC 6762), in lower case."""
    name = socket.gethostname().lower()
    return frozenset({name, f"{name}.local"}) if name else frozenset()


def network_addresses() -> list[str]:
    """This computer's IPv4 addresses on private networks, the likeliest first; empty when it is on none.

    First the one by which the computer would reach others, then the rest, at last those of networks inside it.
    """
    import psutil

    up = {name for name, state in psutil.net_if_stats().items() if state.isup}
    outward = _outward()
    found = [
        (name.startswith(_INNER), entry.address != outward, entry.address)
        for name, entries in psutil.net_if_addrs().items()
        for entry in entries
        if name in up and entry.family == socket.AF_INET and _is_of_a_network(entry.address)
    ]
    return [address for *_, address in sorted(found)]


def _is_of_a_network(text: str) -> bool:
    address = IPv4Address(text)
    return address.is_private and not address.is_loopback and not address.is_link_local


def _outward() -> str:
    """The own address on the way outward. Connecting a UDP socket sends nothing: the system only looks up the way."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_ELSEWHERE)
        except OSError:
            return ""
        return str(probe.getsockname()[0])
