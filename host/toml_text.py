"""TOML text that a person may have edited, or one sentence."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from host.errors import DamagedFileError, NotFoundError, reason_of
from host.whole_file import read_whole

LARGEST_FILE = 100_000  # bytes; a rig file is about one thousand
_DEEPEST = 32  # parts of a dotted key: what the standard library does with one grows with the square of their number
_DEEP = re.compile(rf"(?<![\w-])(?:(?:[\w-]+|\"[^\"\n]*\"|'[^'\n]*')[ \t]*\.[ \t]*){{{_DEEPEST}}}")


def read_text(path: Path, where: str, most: int = LARGEST_FILE) -> str:
    """The text of a file that a person wrote, of at most `most` bytes; `where` names it in messages.

    Raises NotFoundError, DamagedFileError.
    """
    try:
        data = read_whole(path, most + 1)
        if len(data) > most:
            raise DamagedFileError(f"{where} is larger than {most} bytes: give the TOML file that is meant.")
        return data.decode("utf-8-sig")
    except FileNotFoundError:
        raise NotFoundError(f"{where} does not exist: check the path.") from None
    except IsADirectoryError:
        raise NotFoundError(f"{where} is a folder: give the path of a file in it.") from None
    except UnicodeDecodeError as error:
        raise DamagedFileError(
            f"{where} is not UTF-8 text (byte {error.start}): save it as UTF-8 in your editor."
        ) from None
    except OSError as error:
        reason = reason_of(error)
        raise DamagedFileError(f"{where} cannot be read ({reason}): check what it is and who may read it.") from None
    except ValueError:
        raise NotFoundError(f"{where} cannot be there: the file name contains a NUL byte.") from None


def toml_tree(text: str, where: str, mend: str) -> dict[str, Any]:
    """The tables in `text`. Raises UserError that begins with `where` and ends with what to do, `mend`.

    Beside its own error the standard library lets two others through: a ValueError for a whole number of thousands of
    digits, a RecursionError for thousands of brackets.
    """
    try:
        if _DEEP.search(text):
            raise RecursionError
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        reason = str(error)
    except ValueError:
        reason = "a number in it is too long"
    except RecursionError:
        reason = "too deeply nested"
    raise DamagedFileError(f"{where} is not valid TOML: {reason[:1].lower()}{reason[1:]}; {mend}")
