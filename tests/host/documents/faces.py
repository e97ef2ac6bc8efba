"""What each rendering of a document says to people, as plain text, for comparing them."""

import json
import re
from html.parser import HTMLParser

from dashboards.ui.document_view import document_view
from host.documents.document import Document, Facts, Messages, Section, Table
from host.documents.html import format_html
from host.documents.json import to_json
from host.documents.text import format_text
from host.errors import visible


def sayings(document: Document):
    """All that people are to read: (where, words), folded or not; empty words are left out."""
    yield "answer", document.answer
    for section in document.sections:
        yield from _section(section)


def _section(section: Section):
    words = [pair for block in section.blocks for pair in _block(block)]
    words += [pair for inner in section.sections for pair in _section(inner)]
    yield "heading" if words else "heading of a plot", section.heading
    yield from words


def _block(block):
    if isinstance(block, Facts):
        yield from ((label, value) for pair in block.seen for label, value in [(pair[0], pair[0]), pair])
    elif isinstance(block, Table):
        if block.headings and not block.rows:
            yield "empty", block.empty
        elif block.headings:
            for row in [block.headings, *block.cells]:
                yield from (("cell", cell) for cell in row)
    elif isinstance(block, Messages):
        yield from (("message", message.text) for message in block.messages)


class _Text(HTMLParser):
    def __init__(self):
        super().__init__()
        self.parts, self._skipped = [], 0

    def handle_starttag(self, tag, attrs):
        self._skipped += tag in ("style", "svg", "title")

    def handle_endtag(self, tag):
        self._skipped -= tag in ("style", "svg", "title")

    def handle_data(self, data):
        if not self._skipped:
            self.parts.append(data)


def printed_words(document: Document) -> str:
    """The printed page as text."""
    parser = _Text()
    parser.feed(format_html(document))
    return squeezed(" ".join(parser.parts))


def terminal_words(document: Document) -> str:
    """The terminal's text."""
    return squeezed(format_text(document, everything=True))


def page_words(document: Document) -> str:
    """The page's components as text: children, and the cells of tables."""
    found: list[str] = []

    def walk(component):
        if isinstance(component, str):
            found.append(component)
        elif isinstance(component, list | tuple):
            for part in component:
                walk(part)
        elif component is not None and not isinstance(component, int | float):
            table = component.to_plotly_json()["props"].get("data-table")
            if table:
                content = json.loads(table)
                found.extend(cell for row in [content["headings"], *content["rows"]] for cell in row)
            walk(getattr(component, "children", None))

    walk(document_view(document))
    return squeezed(" ".join(found))


def machine_numbers(document: Document) -> list[float]:
    """Every number in the JSON."""
    numbers: list[float] = []

    def walk(value):
        if isinstance(value, dict):
            value = list(value.values())
        if isinstance(value, list):
            for part in value:
                walk(part)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            numbers.append(float(value))

    walk(json.loads(json.dumps(to_json(document), allow_nan=False)))
    return numbers


def squeezed(text: str) -> str:
    """Runs of white space as one blank."""
    return re.sub(r"\s+", " ", visible(text.replace("\n", " ")))


def assert_all_faces_say_the_same(document: Document) -> None:
    """Terminal, page and print hold every heading, fact, cell and message; JSON holds every known number.

    A terminal has no plots, so that it has no heading of what is a plot alone.
    """
    faces = {
        "terminal": terminal_words(document),
        "page": page_words(document),
        "print": printed_words(document),
    }
    for where, words in sayings(document):
        for name, text in faces.items():
            if name == "terminal" and where == "heading of a plot":
                continue
            assert squeezed(words).strip() in text, f"{name} lacks {where}: {words!r}"
    numbers = set(machine_numbers(document))
    for where, value in known_numbers(document):
        assert value in numbers, f"JSON lacks {where}: {value}"


def known_numbers(document: Document):
    """(key, value) of every quantity that has a key and a value, ± too."""
    from host.documents.document import Quantity

    for block in document.blocks():
        pairs = []
        if isinstance(block, Facts):
            pairs = [(fact.key, fact.value) for fact in block.facts]
        elif isinstance(block, Table):
            pairs = [
                (column.key, value)
                for row in block.rows
                for column, value in zip(block.columns, row, strict=True)
                if block.key
            ]
        for key, value in pairs:
            if key and isinstance(value, Quantity):
                yield from ((key, number) for number in (value.value, value.expanded) if number is not None)
