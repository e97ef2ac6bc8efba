"""Small words that documents share: counts and days."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime


def plural(count: int, noun: str) -> str:
    """A count with its noun: "1 run", "3 runs"."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def percent(fraction: float, decimals: int = 0) -> str:
    """A fraction as people read it: "9 %"."""
    return f"{100 * fraction:.{decimals}f} %"


def format_day(moment: datetime | str | None, *, time: bool = True) -> str:
    """Date, and time of day, as people write them: "14 May 2026, 09:15"; takes ISO 8601 text, too."""
    if isinstance(moment, str):
        try:
            moment = datetime.fromisoformat(moment)
        except ValueError:
            moment = None
    if moment is None:
        return "without a date"
    return f"{moment.day} {moment:%b %Y, %H:%M}" if time else f"{moment.day} {moment:%b %Y}"


_FILE = re.compile(r"\S*[/\\]\S|\S+\.[a-z]{3,}\b")


def listed(words: Sequence[str]) -> str:
    """Words in a row: "wind, licence number and purpose"; empty for none."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def capital(text: str) -> str:
    """`text` with a capital first, unless it begins with a file's name, which is to be typed as it is."""
    return text if _FILE.match(text) else text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """`text` with a capital first and a full stop last."""
    return capital(text) + ("" if not text or text.endswith((".", "!", "?", ":")) else ".")
