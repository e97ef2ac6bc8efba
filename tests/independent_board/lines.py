"""Lines of the wire as PROTOCOL.md sections 3 to 6 say them. A line is given with its line feed."""

from __future__ import annotations

from binascii import crc_hqx
from dataclasses import dataclass


@dataclass(frozen=True)
class Who:
    """What the identity line says."""

    protocol: str = "1.0"
    name: str = "other-board"
    firmware: str = "0.3"
    full_scale: int = 1023
    interval_ms: int = 100
    capabilities: int = 0x0F
    cause: str = "P"


def sealed(text: str) -> bytes:
    """`text`, a space, the checksum and a line feed. crc_hqx is polynomial 1021h, not reflected (section 4)."""
    body = f"{text} ".encode("ascii")
    return body + b"%04X\n" % crc_hqx(body, 0xFFFF)


def identity(boot: int, who: Who) -> bytes:
    """Section 6."""
    return sealed(
        f"I{boot:02X} {who.protocol} {who.name} {who.firmware} {who.full_scale:04X} {who.interval_ms:04X} "
        f"{who.capabilities:02X} {who.cause}"
    )


def report(  # noqa: PLR0917 the fields of a report
    boot: int,
    seq: int,
    clock: int,
    flow: tuple[int, int],
    wheel: tuple[int, int],
    pressure: tuple[int, int, int],
    flags: int,
    dropped: tuple[int, int],
) -> bytes:
    """Section 5: counts and edge times of flow and wheel, pressure mean (sixteenths), least and greatest."""
    mean, least, greatest = pressure
    return sealed(
        f"R{boot % 256:02X} {seq % 65536:04X} {clock % 2**32:08X} "
        f"{flow[0] % 2**32:08X} {flow[1] % 2**32:08X} {wheel[0] % 2**32:08X} {wheel[1] % 2**32:08X} "
        f"{mean:04X} {least:03X} {greatest:03X} {flags:02X} {dropped[0] % 256:02X}{dropped[1] % 256:02X}"
    )
