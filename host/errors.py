"""The errors that are meant for the person at the sprayer."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

_LONGEST = 600
_HEAD, _TAIL = 400, 190  # what is wrong stands first, what to do last
_UNSEEN = {"Cc", "Cf", "Cs", "Zl", "Zp"}  # Unicode: control, format, surrogate, line and paragraph separators


class UserError(Exception):
    """Something the user gave or has to mend: one sentence saying what is wrong, where, and what to do.

    The command line prints the sentence and ends with exit code 2; a page shows it. Sentences quote files and names,
    so whatever stands in those is made visible and short: a sentence stays on one line and cannot steer a terminal.
    Callers that go on without what they asked for catch one of the classes below, by what is wrong, never by the text.
    """

    name = ""  # what is wrong, for a message between processes

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


def reason_of(error: OSError) -> str:
    """What the system says of it, to stand in parentheses in a sentence."""
    return (error.strerror or "unknown reason").lower()


def closest(word: object, known: Iterable[str], alike: float = 0.5) -> str:
    """The known word that was probably meant; empty when none is at least so much `alike` (0 to 1)."""
    import difflib

    return next(iter(difflib.get_close_matches(str(word), list(known), n=1, cutoff=alike)), "")


def suggestion(word: object, known: Iterable[str]) -> str:
    """What to write for a word that is not known: 'did you mean "spacing"?', or what is known, with a full stop."""
    words = list(known)
    near = closest(word, words)
    return f'did you mean "{near}"?' if near else f"known here: {', '.join(words)}."


class BadInputError(UserError):
    """What was typed, or written in a file by hand, cannot be used as it is."""

    name = "bad input"


class NotFoundError(UserError):
    """A file, folder, run, scenario or port is not there."""

    name = "not found"


class DamagedFileError(UserError):
    """A file is there, and cannot be read or holds what it should not."""

    name = "damaged file"


class NotSavedError(UserError):
    """A file cannot be written, or is there already and is not overwritten."""

    name = "not saved"


class NotNowError(UserError):
    """What was asked for makes sense, but not at this moment: nothing to undo, a port in use, a run that has ended."""

    name = "not now"


class NoAnswerError(NotNowError):
    """Nobody answers: no recorder for this run, or a board that says nothing."""

    name = "no answer"


class RefusedByBoardError(UserError):
    """The board answered, and refused."""

    name = "refused by board"


class OtherVersionError(UserError):
    """The board speaks a version of the protocol that is not known here."""

    name = "other version"


class TooLargeError(UserError):
    """What was asked for is more than its place can take: a run for a page, rows for a sheet."""

    name = "too large"


class NotInstalledError(UserError):
    """A package that Swardflow can do without is needed for this, and is not installed."""

    name = "not installed"


_KINDS = (
    BadInputError,
    NotFoundError,
    DamagedFileError,
    NotSavedError,
    NotNowError,
    NoAnswerError,
    RefusedByBoardError,
    OtherVersionError,
    TooLargeError,
    NotInstalledError,
)


def error_named(name: str) -> type[UserError]:
    """The class with this `name`, UserError for a name that is not known."""
    return next((kind for kind in _KINDS if kind.name == name), UserError)
