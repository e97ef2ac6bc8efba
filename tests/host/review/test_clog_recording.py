"""The recording of the invented pleasure grounds: the nozzle that clogs in the third pass is found in review."""

import json
from pathlib import Path

import pytest

from host.documents.json import to_json
from host.documents.text import format_text
from host.review.review import review_run
from host.review.run_document import run_document

RUN = Path(__file__).parents[3] / "recordings" / "2026-05-14T0915-harrow-lea-pleasure-grounds.sward"


@pytest.fixture(scope="module")
def review():
    return review_run(RUN)


@pytest.fixture(scope="module")
def clog():
    truth = json.loads(RUN.with_suffix(".truth.json").read_text())
    return next(event for event in truth["disturbances"] if event["kind"] == "clog")


def test_it_is_the_only_fault_and_called_within_the_next_step(review, clog):
    fault = review.faults[0]
    assert len(review.faults) == 1
    assert fault.kind == "clog"
    assert fault.nozzles == pytest.approx(1.0, abs=0.05)
    assert 0 <= fault.called_s - clog["begin_s"] < 0.55  # a step takes about half a second (common practice)
    third = review.passes[2]
    assert third.start_s < fault.called_s < third.end_s


def test_it_is_over_when_the_nozzle_was_cleaned(review, clog):
    fault = review.faults[0]
    assert fault.ended_s is not None
    assert review.passes[4].end_s < fault.ended_s < review.passes[5].start_s + 8.0
    assert clog["end_s"] < fault.ended_s


def test_text_and_json_tell_it(review):
    document = run_document(review, "us")
    assert "Nozzle clogged" in format_text(document)
    told = to_json(document)["faults"][0]
    assert told["cause"] == "clog"
    assert told["check_first"]
    assert told["area_ft2"] > 0
