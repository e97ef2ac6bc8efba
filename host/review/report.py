"""The record of a run or a season as a page to print or keep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from host.documents.document import Document, Fact, Facts, Message, Messages, Plot, Section
from host.documents.html import format_html
from host.documents.words import format_day, plural

CAUTIONS = (
    "The label is the law: its rates, limits, protective clothing and re-entry times go before anything here.",
    "Rates here are means over the boom; single nozzles may give more or less. A catch test shows them.",
    "Before work on nozzles, hoses or strainers: pump off, pressure let off, battery unplugged, gloves on.",
    "Measured with calibrations of limited certainty, as stated. This page is no approval and no certificate.",
)

_PLOTS = 40
_LINE = "_" * 30


def format_report(document: Document, made: datetime, more: Sequence[Section] = ()) -> str:
    """The page of a run's or a season's document: `more` sections after its own, cautions, and when it was made."""
    cautions = Section("", "Cautions", (Messages(tuple(Message(text, "stop") for text in CAUTIONS)),))
    line = Facts((Fact("", "Signature", _LINE), Fact("", "Date", _LINE)))
    signed = (Section("", "Signed", (line,)),) if document.kind == "run" else ()
    end = Section("", "", (Messages((Message(f"Made {format_day(made)}."),)),))
    title = f"Spray record: {document.title}"
    own = map(_shortened, document.sections)
    return format_html(replace(document, title=title, sections=(*own, *more, cautions, *signed, end)))


def _shortened(section: Section) -> Section:
    """The section with its first plots: those of hundreds of passes would fill hundreds of sheets."""
    plots = [block for block in section.blocks if isinstance(block, Plot)]
    left_out = plots[_PLOTS:]
    if not left_out:
        return section
    said = Messages((Message(f"{plural(len(left_out), 'more plot')} on the page; all passes are in the table."),))
    return replace(section, blocks=(*(block for block in section.blocks if block not in left_out), said))
