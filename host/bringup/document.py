"""What bring-up found, as a document."""

from __future__ import annotations

from collections.abc import Sequence

from host.bringup.conformance import Listened
from host.bringup.findings import Finding, Grade
from host.documents.document import Column, Document, Fact, Facts, Section, Table

_WORDS = {Grade.GOOD: "good", Grade.NOTE: "note", Grade.BAD: "mend"}


def bringup_document(listened: Listened, findings: Sequence[Finding]) -> Document:
    """Who the board is, everything looked at, and in one sentence whether it is good."""
    bad = [finding for finding in findings if finding.grade is Grade.BAD]
    identity, hardware = listened.identity, listened.hardware
    about = Facts(
        (
            Fact("name", "Board", identity.name if identity else None),
            Fact("firmware", "Firmware", identity.firmware if identity else None),
            Fact("protocol", "Protocol", identity.protocol if identity else None),
            Fact("kind", "Chip", hardware.kind if hardware else None),
            Fact("serial", "Serial number", f"{hardware.serial:08X}" if hardware and hardware.serial else None),
        )
    )
    table = Table(
        "findings",
        (Column("grade", ""), Column("what", "What"), Column("seen", "Seen, and what to do")),
        tuple((_WORDS[finding.grade], finding.what, finding.seen) for finding in findings),
        marked=frozenset(nth for nth, finding in enumerate(findings) if finding.grade is Grade.BAD),
    )
    answer = f"{len(bad)} of {len(findings)} things are not as they should be." if bad else "The board is good."
    sections = (Section("board", "Board", (about,)), Section("", "Looked at", (table,)))
    return Document("bringup", "Bring-up of a board", answer, sections, "warning" if bad else "note")
