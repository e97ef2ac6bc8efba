"""Hours of spraying in minutes: recorder and page server do not grow, and every frame is there."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from host.journal import read_run
from tests.soak.long_day import run_day

SPEED = 20
GROWTH_KB = 4_000  # from a third of the time to the end


@pytest.mark.soak
@pytest.mark.timeout(7_200)
@pytest.mark.parametrize("hours", [1.0])  # the whole day: python -m tests.soak.long_day
def test_hours_at_twenty_times_the_pace(tmp_path: Path, hours: float) -> None:
    day = run_day(tmp_path, hours, SPEED, 10.0)
    run = read_run(day.run)
    seqs = run.frames["seq"].astype(int)
    assert run.damaged == 0 and day.broken == ""
    assert set((np.diff(seqs) % 65_536).tolist()) == {1}, "no frame is missing"
    assert len(seqs) == pytest.approx(hours * 36_000, rel=0.01)
    truth = json.loads(day.truth.read_text(encoding="utf-8"))
    assert truth
    warm, last = day.samples[len(day.samples) // 3], day.samples[-1]
    assert last.recorder_kb - warm.recorder_kb < GROWTH_KB
    assert last.server_kb - warm.server_kb < GROWTH_KB
