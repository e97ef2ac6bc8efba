"""TOML text that a person may have edited, or one sentence."""

from __future__ import annotations

import tomllib
from typing import Any

from host.errors import DamagedFileError


def toml_tree(text: str, where: str, mend: str) -> dict[str, Any]:
    """The tables in `text`. Raises UserError that begins with `where` and ends with what to do, `mend`.

    Beside its own error the standard library lets two others through: a ValueError for a whole number of thousands of
    digits, a RecursionError for thousands of brackets.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        reason = str(error)
    except ValueError:
        reason = "a number in it is too long"
    except RecursionError:
        reason = "too deeply nested"
    raise DamagedFileError(f"{where} is not valid TOML: {reason[:1].lower()}{reason[1:]}; {mend}")
