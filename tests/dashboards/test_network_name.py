"""The name on the network, asked for as RFC 6762 has it: one DNS question to the group 224.0.0.251, port 5353."""

from __future__ import annotations

import os
import socket
import struct
from collections.abc import Iterator
from itertools import count

import pytest

from dashboards.sharing.network_name import NetworkName, can_name
from tests.dashboards.processes import wait_until

pytestmark = pytest.mark.skipif(not can_name(), reason="zeroconf is not installed (extra `name`)")
GROUP = ("224.0.0.251", 5353)  # RFC 6762, section 3
A, IN = 1, 1  # RFC 1035, sections 3.2.2 and 3.2.4
NAME = f"swardflow-test-{os.getpid()}"  # of this process: others on the network may be testing as well
_numbers = count(1)


def question(name: str, number: int) -> bytes:
    """A query of one question (RFC 1035, section 4.1)."""
    labels = b"".join(bytes([len(part)]) + part.encode() for part in name.split(".")) + b"\0"
    return struct.pack(">6H", number, 0, 1, 0, 0, 0) + labels + struct.pack(">2H", A, IN)


@pytest.fixture
def asker() -> Iterator[socket.socket]:
    """Sends from a port of its own, so the answer comes to it alone (RFC 6762, section 6.7)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asking.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
        asking.bind(("127.0.0.1", 0))
        asking.settimeout(0.5)
        yield asking


def answer(asking: socket.socket, name: str) -> bytes:
    """The answer to a question that is asked now; one to an earlier question may still have been on its way."""
    number = next(_numbers)
    asking.sendto(question(name, number), GROUP)
    try:
        while (got := asking.recv(9000))[:2] != struct.pack(">H", number):  # RFC 6762, section 6.7
            pass
    except TimeoutError:
        return b""
    return got


def test_the_name_leads_to_the_address_and_is_gone_after_the_end(asker: socket.socket) -> None:
    name = NetworkName(NAME, 8050, lambda: ["127.0.0.1"])
    name.start()
    try:
        wait_until(lambda: socket.inet_aton("127.0.0.1") in answer(asker, f"{NAME}.local"), "the address")
        assert answer(asker, f"{NAME}-other.local") == b""
    finally:
        name.close()
    assert answer(asker, f"{NAME}.local") == b""


def test_addresses_are_followed(asker: socket.socket) -> None:
    addresses: list[str] = []
    name = NetworkName(f"{NAME}-moves", 8050, lambda: addresses)
    name.look()
    assert answer(asker, f"{NAME}-moves.local") == b""
    addresses = ["127.0.0.1"]
    name.look()
    wait_until(lambda: answer(asker, f"{NAME}-moves.local"), "an answer")
    addresses = []
    name.look()
    assert answer(asker, f"{NAME}-moves.local") == b""
