"""A document as text for the terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from host.documents.document import Block, Document, Facts, GroundPicture, Messages, Plot, Section, Table
from host.errors import visible

_INDENT = "  "
_SIGNS = {"note": "", "advice": "", "warning": "! ", "stop": "! "}


def format_text(document: Document, width: int = 0, *, everything: bool = False) -> str:
    """`document` as lines of text, broken at `width` characters (0: not at all); tables are never broken.

    What is folded on a page is left out unless `everything` is asked for. Plots are left out. Control characters that
    came in from outside are shown as escapes.
    """
    lines = [document.title, *_sentence(_SIGNS[document.level] + document.answer, "", width)]
    for section in document.sections:
        lines += _section(section, "", width, everything)
    return "\n".join(visible(line).rstrip() for line in lines)


def format_table(table: Table) -> str:
    """The columns for people below their headings: text flush left, numbers flush right, "!" behind marked rows."""
    if not table.rows:
        return table.empty
    grid = [[visible(cell) for cell in row] for row in [table.headings, *table.cells]]
    texts = table.flush_left
    widths = [max(map(len, cells)) for cells in zip(*grid, strict=True)]
    lines = []
    for number, row in enumerate(grid, -1):
        cells = [
            cell.ljust(width) if left else cell.rjust(width)
            for cell, width, left in zip(row, widths, texts, strict=True)
        ]
        lines.append("  ".join([*cells, *("!" if number in table.marked else ())]).rstrip())
    return "\n".join(lines)


def _section(section: Section, indent: str, width: int, everything: bool) -> list[str]:
    if not section.seen or (section.folded and not everything):
        return []
    inner = indent + _INDENT if section.heading else indent
    lines: list[str] = []
    wide = max(
        (len(label) for block in section.blocks if isinstance(block, Facts) for label, _ in block.seen), default=0
    )
    for block in section.blocks:
        lines += (
            _facts(block, inner, width, wide) if isinstance(block, Facts) else _block(block, inner, width, everything)
        )
    for nested in section.sections:
        lines += _section(nested, inner, width, everything)
    if not lines:
        return []
    heading = [indent + _SIGNS[section.level] + section.heading] if section.heading else []
    apart = [] if indent or not (heading or section.blocks) else [""]
    return [*apart, *heading, *lines]


def _block(block: Block, indent: str, width: int, everything: bool) -> list[str]:
    if isinstance(block, Plot | Facts | GroundPicture) or (block.folded and not everything):
        return []
    title = [indent + block.title] if block.title else []
    if isinstance(block, Table):
        if not block.headings:
            return []
        return (title if block.rows else []) + [indent + line for line in format_table(block).splitlines()]
    return title + _messages(block, indent + (_INDENT if block.title else ""), width)


def _facts(block: Facts, indent: str, width: int, wide: int) -> list[str]:
    return [
        line
        for label, value in block.seen
        for line in _sentence(f"{label.ljust(wide)}  {value}", indent, width, wide + len(_INDENT))
    ]


def _messages(block: Messages, indent: str, width: int) -> list[str]:
    lines: list[str] = []
    for number, message in enumerate(block.messages, 1):
        sign = f"{number}. " if block.ordered else _SIGNS[message.level]
        lines += _sentence(sign + message.text, indent, width, len(sign))
    return lines


def _sentence(text: str, indent: str, width: int, hanging: int = 0) -> Sequence[str]:
    if not text:
        return []
    if not width:
        return [indent + text]
    room = max(width, len(indent) + hanging + 20)
    return textwrap.wrap(
        visible(text),
        room,
        initial_indent=indent,
        subsequent_indent=indent + " " * hanging,
        break_long_words=False,
        break_on_hyphens=False,
    )
