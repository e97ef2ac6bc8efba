"""The name on the network, asked for as RFC 6762 has it: one DNS question to the group 224.0.0.251, port 5353."""

from __future__ import annotations

import socket
import struct
from collections.abc import Iterator

import pytest

from dashboards.sharing.network_name import NetworkName, can_name
from tests.dashboards.processes import wait_until

pytestmark = pytest.mark.skipif(not can_name(), reason="zeroconf is not installed (extra `name`)")
GROUP = ("224.0.0.251", 5353)  # RFC 6762, section 3
A, IN = 1, 1  # RFC 1035, sections 3.2.2 and 3.2.4


def question(name: str) -> bytes:
    """A query of one question (RFC 1035, section 4.1)."""
    labels = b"".join(bytes([len(part)]) + part.encode() for part in name.split(".")) + b"\0"
    return struct.pack(">6H", 7, 0, 1, 0, 0, 0) + labels + struct.pack(">2H", A, IN)


@pytest.fixture
def asker() -> Iterator[socket.socket]:
    """Sends from a port of its own, so the answer comes to it alone (RFC 6762, section 6.7)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asking.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
        asking.bind(("127.0.0.1", 0))
        asking.settimeout(0.5)
        yield asking


def answer(asking: socket.socket, name: str) -> bytes:
    asking.sendto(question(name), GROUP)
    try:
        return asking.recv(9000)
    except TimeoutError:
        return b""


def test_the_name_leads_to_the_address_and_is_gone_after_the_end(asker: socket.socket) -> None:
    name = NetworkName("swardflow-test", 8050, lambda: ["127.0.0.1"])
    name.start()
    try:
        wait_until(lambda: socket.inet_aton("127.0.0.1") in answer(asker, "swardflow-test.local"), "the address", 20.0)
        assert answer(asker, "swardflow-other.local") == b""
    finally:
        name.close()
    assert answer(asker, "swardflow-test.local") == b""


def test_addresses_are_followed(asker: socket.socket) -> None:
    addresses: list[str] = []
    name = NetworkName("swardflow-moves", 8050, lambda: addresses)
    name.look()
    assert answer(asker, "swardflow-moves.local") == b""
    addresses = ["127.0.0.1"]
    name.look()
    wait_until(lambda: answer(asker, "swardflow-moves.local"), "an answer", 20.0)
    addresses = []
    name.look()
    assert answer(asker, "swardflow-moves.local") == b""
