"""The one kind of error that is meant for the person at the sprayer."""

from __future__ import annotations

import unicodedata

_LONGEST = 600
_HEAD, _TAIL = 400, 190  # what is wrong stands first, what to do last
_UNSEEN = {"Cc", "Cf", "Cs", "Zl", "Zp"}  # Unicode: control, format, surrogate, line and paragraph separators


class UserError(Exception):
    """Something the user gave or has to mend: one sentence saying what is wrong, where, and what to do.

    The command line prints the sentence and ends with exit code 2; a page shows it. Sentences quote files and names,
    so whatever stands in those is made visible and short: a sentence stays on one line and cannot steer a terminal.
    """

    def __init__(self, sentence: object = "") -> None:
        text = visible(str(sentence))
        super().__init__(text if len(text) <= _LONGEST else f"{text[:_HEAD]} … {text[-_TAIL:]}")


def visible(text: str) -> str:
    """`text` with what steers a terminal or turns a line around (controls, separators, lone surrogates) as escapes."""
    return text if text.isprintable() else "".join(map(_seen, text))


def _seen(character: str) -> str:
    if unicodedata.category(character) in _UNSEEN:
        return character.encode("unicode_escape").decode("ascii")
    return character
