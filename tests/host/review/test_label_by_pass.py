"""The label's limit, pass by pass: a mean that is within it is no answer for ground that got more."""

from datetime import UTC, datetime

import numpy as np
import pytest

from host.documents.json import to_json
from host.documents.text import format_text
from host.library import Library
from host.review.review import review_run
from host.review.run_document import run_document
from tests.host.library.made import write
from tests.host.pipeline.made import RIG, made_frames

# 40 pulses a second at 600 a litre over 2 m: at 0.6 m/s 5.56 L, at 1.8 m/s 1.85 L, in the mean 3.70 L on 100 m².
PACES, FLOW_HZ = (0.6, 1.8), 40.0


def sprayed(path, limit):
    idle = np.zeros(50)
    parts = [(np.full(round(30 / pace / 0.1), pace), FLOW_HZ) for pace in PACES]
    speed = np.concatenate([part for pace, _ in parts for part in (idle, pace)] + [idle])
    flow = np.where(speed > 0, FLOW_HZ, 0.0)
    notes = {"product": "Clover killer", "mix": "10 mL/L", "label limit": limit}
    return write(path, made_frames(flow, speed * 10, flow > 0), RIG, datetime(2026, 5, 14, 9, tzinfo=UTC), notes)


@pytest.mark.parametrize(("limit", "over"), [("57 mL/100 m2", ()), ("45 mL/100 m2", (1,)), ("18 mL/100 m2", (1,))])
def test_passes_that_got_more_than_the_label_allows_are_named(tmp_path, limit, over):
    path = sprayed(tmp_path / "run.sward", limit)
    review = review_run(path)
    (product,) = review.products
    assert product.passes_over == over
    text = " ".join(format_text(run_document(review, "metric")).split())
    said = "Pass 1 got more than the label allows; the run's mean is within the limit." in text
    assert said == (bool(over) and not product.over_limit)
    said = to_json(run_document(review, "metric"))["product"]
    assert said["over_label_limit"] == bool(over) and said["passes_over_label_limit"] == list(over)
    assert said["mean_over_label_limit"] == product.over_limit
    (entry,) = Library(tmp_path).entries()
    assert entry.digest.over_limit == bool(over)
