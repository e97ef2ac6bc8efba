"""Whether a board's version of the protocol can be interpreted (PROTOCOL.md section 11)."""

from __future__ import annotations

from firmware_protocol.messages import PROTOCOL_VERSION


def speaks_our_protocol(version: str) -> bool:
    """Whether the number before the point is ours."""
    return version.partition(".")[0] == PROTOCOL_VERSION.partition(".")[0]
