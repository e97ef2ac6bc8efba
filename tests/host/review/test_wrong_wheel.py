"""A rig that describes another wheel than the one on the sprayer: no flat verdict without a word on the pace."""

from datetime import UTC, datetime

import numpy as np
import pytest

from host.documents.text import format_text
from host.review.review import review_run
from host.review.run_document import run_document
from tests.host.library.made import write
from tests.host.pipeline.made import RIG, made_frames

SAYS = "nobody does that: area and rate are wrong. Check the wheel's circumference and pulses per turn"


@pytest.mark.parametrize(
    ("pulses_per_turn", "pace_m_s", "told"),
    [(10, 1.0, ""), (10, 0.45, ""), (10, 3.6, ""), (1, 1.0, "at 22."), (60, 1.0, "0.37 mph"), (1, 0.5, "")],
)
def test_a_pace_that_nobody_keeps_is_told(tmp_path, pulses_per_turn, pace_m_s, told):
    """The wheel has ten magnets on 1 m; 8 mph (3.6 m/s) behind a tractor and a stroll of 1 mph are no mistake."""
    rig = RIG.replace("pulses_per_turn = 10", f"pulses_per_turn = {pulses_per_turn}")
    speed = np.concatenate((np.zeros(50), np.full(400, pace_m_s), np.zeros(50)))
    flow = np.where(speed > 0, 40.0, 0.0)
    path = write(
        tmp_path / "run.sward", made_frames(flow, speed * 10, flow > 0), rig, datetime(2026, 5, 14, tzinfo=UTC)
    )
    text = " ".join(format_text(run_document(review_run(path), "us")).split())
    assert (SAYS in text) == bool(told)
    assert told in text
