"""One file of the library."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from host.review.digest import Digest


@dataclass(frozen=True)
class Entry:
    """Its digest, or a sentence saying why there is none; both where part of it could not be read."""

    path: Path
    size: int
    digest: Digest | None
    problem: str = ""
