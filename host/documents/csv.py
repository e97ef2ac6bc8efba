"""A table for spreadsheets: columns named as the keys of its JSON, with their units."""

from __future__ import annotations

import csv
import io
import unicodedata
from typing import Any

from host.documents.document import Table
from host.documents.json import row_keys
from host.errors import visible

# OWASP, "CSV Injection": cells that begin so may be run as formulas by spreadsheets.
_FORMULA_STARTS = tuple("=+-@\t\r\n＝＋－＠")
_UNSEEN = ("Cc", "Cf", "Zs")  # Unicode: control, format, blanks; a spreadsheet may pass over them


def format_csv(table: Table) -> str:
    """`table` with a line of headings; a row lacks what it has no key for. Lines end as RFC 4180 says."""
    rows = [row_keys(table, row) for row in table.rows]
    names = list(dict.fromkeys(key for row in rows for key in row)) or [one.key for one in table.columns if one.key]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(map(text_cell, names))
    writer.writerows([_cell(row.get(name)) for name in names] for row in rows)
    return out.getvalue()


def text_cell(text: str) -> str:
    """`text` so that no spreadsheet takes it for a formula: an apostrophe goes before what would begin one.

    In many countries a semicolon ends a cell for a spreadsheet, so what stands behind one counts as a beginning, too.
    """
    return ";".join(map(_guarded, text.split(";")))


def _guarded(text: str) -> str:
    begins = next((letter for letter in text if unicodedata.category(letter) not in _UNSEEN), "")
    return "'" + visible(text) if begins in _FORMULA_STARTS or text[:1] in _FORMULA_STARTS else visible(text)


def _cell(value: Any) -> object:
    if isinstance(value, list):
        return text_cell("; ".join(value))
    if isinstance(value, float):
        return f"{value:.9g}"
    return text_cell(value) if isinstance(value, str) else value
