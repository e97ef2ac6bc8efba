"""The record of a run or a season as a page to print or keep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from host.documents.document import Document, Message, Messages, Section
from host.documents.html import format_html
from host.documents.words import format_day

CAUTIONS = (
    "The label is the law: its rates, limits, protective clothing and re-entry times go before anything here.",
    "Rates here are means over the boom; single nozzles may give more or less. A catch test shows them.",
    "Before work on nozzles, hoses or strainers: pump off, pressure let off, battery unplugged, gloves on.",
    "Measured with calibrations of limited certainty, as stated. This page is no approval and no certificate.",
)


def format_report(document: Document, made: datetime, more: Sequence[Section] = ()) -> str:
    """The page of a run's or a season's document: `more` sections after its own, cautions, and when it was made."""
    cautions = Section("", "Cautions", (Messages(tuple(Message(text, "stop") for text in CAUTIONS)),))
    end = Section("", "", (Messages((Message(f"Made {format_day(made)}."),)),))
    title = f"Spray record: {document.title}"
    return format_html(replace(document, title=title, sections=(*document.sections, *more, cautions, end)))
