"""The record to keep: what the run knows, what was noted, and what is still missing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from host.documents.html import format_html
from host.documents.json import to_json
from host.documents.text import format_text
from host.frames import Event
from host.library.later_notes import add_note, read_notes
from host.review.report import format_report
from host.review.review import review_run
from host.review.run_document import run_document
from host.review.spray_record import RECORD_FIELDS, missing_fields
from tests.host.review.test_clog_recording import RUN

NOTED = {field.key: f"{field.label} as noted" for field in RECORD_FIELDS}


@pytest.fixture(scope="module")
def empty():
    return review_run(RUN)


@pytest.fixture(scope="module")
def full():
    return review_run(RUN, later_notes=NOTED)


def test_the_usual_fields_of_a_record_are_there():
    """Applicator, licence, product, registration, place, pest, wind, temperature, re-entry: common practice."""
    labels = " ".join(field.label.lower() for field in RECORD_FIELDS)
    for word in ("applicator", "licence", "product", "registration", "pest", "wind", "temperature", "re-entry"):
        assert word in labels


def test_what_is_missing_is_named_until_it_is_noted(empty, full):
    assert [field.key for field in missing_fields(empty)] == [field.key for field in RECORD_FIELDS]
    assert "Still to fill in: applicator, licence number" in " ".join(format_text(run_document(empty, "us")).split())
    assert missing_fields(full) == ()
    assert "Still to fill in" not in format_text(run_document(full, "us"))


def test_the_record_has_times_and_area_of_the_run(full):
    text = " ".join(format_text(run_document(full, "us")).split())
    assert "Started 14 May 2026, 09:15" in text
    assert "Ended 14 May 2026, 09:20" in text  # the simulated run takes 340.5 s
    assert to_json(run_document(full, "us"))["record"]["licence"] == NOTED["licence"]


def test_a_break_of_the_work_stands_in_the_record(empty):
    paused = [Event(30.0, 0, "work_paused", {}), Event(41.0, 0, "work_resumed", {})]
    events = [*empty.run.events, *paused]
    still = replace(empty, track=replace(empty.track, spraying=empty.track.spraying & (empty.track.host_s < 30.0)))
    text = " ".join(format_text(run_document(replace(still, run=replace(empty.run, events=events)), "us")).split())
    assert "Breaks 09:15:30, 11.0 s" in text


def test_a_run_that_was_cut_off_has_no_end(tmp_path: Path):
    path = tmp_path / "cut.sward"
    path.write_bytes(RUN.read_bytes()[:100_000])
    text = " ".join(format_text(run_document(review_run(path), "us")).split())
    assert "Ended not recorded; the last report came 14 May 2026" in text


def test_the_printed_record_can_be_signed(full):
    from datetime import datetime

    page = format_report(run_document(full, "us"), datetime(2026, 5, 14))
    assert "Signature" in page and "______" in page
    assert "Signature" not in format_html(run_document(full, "us"))


def test_a_note_cleared_again_is_missing_again(tmp_path: Path):
    from datetime import UTC, datetime

    path = tmp_path / "a.sward"
    path.write_bytes(RUN.read_bytes())
    at = datetime(2026, 5, 14, tzinfo=UTC)
    add_note(path, "wind", "4 mph", at)
    assert "wind" not in [field.key for field in missing_fields(review_run(path, later_notes=read_notes(path)))]
    add_note(path, "wind", "", at)
    assert "wind" in [field.key for field in missing_fields(review_run(path, later_notes=read_notes(path)))]
