"""Seasons drawn at random, with all that keepers do in them: each gets an answer."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest

from host.documents.json import to_json
from host.documents.text import format_text
from host.review.season import season_of
from host.review.season_document import season_document
from tests.host.review.season_runs import EVERY, FIRST, Truth, season

DRAWS = int(os.environ.get("SWARDFLOW_DRAWS", "60"))


@pytest.fixture(scope="module")
def digest():
    return season(1, Truth())[0]


def drawn(rng, digest):
    """Runs with wear, steps, clogged runs, filling strainers and a knob that is turned, any of them or none."""
    runs = int(rng.integers(1, 60))
    number = np.arange(runs)
    boom = 1 + rng.choice([0, 0.1]) * number / 60 + (number > rng.integers(60)) * rng.choice([0, -0.08, 0.05])
    boom = boom * (1 - 0.25 * (rng.random(runs) < rng.choice([0, 0.05])))
    meter = 1 + (number > rng.integers(60)) * rng.choice([0, 0.03, -0.05])
    pressure = digest.steady.pressure_pa * (1 - rng.choice([0, 0.004, 0.01]) * (number % rng.integers(5, 60)))
    pressure = pressure * np.where(number > rng.integers(60), 1 - rng.choice([0, 0.1, 0.3, -0.2]), 1)
    out = []
    for run in number.tolist():
        scatter = 1 + rng.normal(0, 0.005, 3)
        steady = replace(
            digest.steady,
            coefficient=digest.steady.coefficient * float(boom[run] * meter[run] * scatter[0]),
            pressure_pa=float(max(pressure[run] * scatter[1], 1e3)),
        )
        balance = float(meter[run] * scatter[2]) if rng.random() < 0.8 else None
        started = (FIRST + EVERY * (run if rng.random() < 0.97 else max(run - 1, 0))).isoformat()
        out.append(
            replace(digest, started=started, steady=steady if rng.random() < 0.95 else None, meter_over_tank=balance)
        )
    return out


def test_every_season_gets_an_answer(digest):
    rng = np.random.default_rng(5)
    for _ in range(DRAWS):
        document = season_document(season_of(drawn(rng, digest)), "us")
        assert format_text(document) and to_json(document)
