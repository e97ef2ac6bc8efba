"""Results whose renderings are kept in golden/, so that every change of a word or a digit is seen.

`python -m tests.host.review.golden_results` writes them anew; look at the difference before you commit it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from host.calibrate.boom_card import boom_card
from host.cli.compare import comparison_json
from host.cli.runs import _table, entry_json
from host.cli.season import season_json, season_lines
from host.library import Entry
from host.review.compare import run_against_catch, run_against_run
from host.review.digest import Digest, digest_of
from host.review.review import Review, review_run
from host.review.season import season_of
from host.review.text import review_json, review_text
from tests.host.review.test_compare import catch_card

GOLDEN = Path(__file__).parent / "golden"
RECORDING = next((Path(__file__).parents[3] / "recordings").glob("*.sward"))
NOTES = {
    "area": "Pleasure grounds",
    "product": "iron sulphate",
    "operator": "J.",
    "mix": "20 mL/L",
    "label limit": "3 fl oz/1000 ft2",
    "tank left": "7.75 gal",
}


def reviewed(**changes: Any) -> Review:
    """The recording of the repository with notes added beside it."""
    return replace(review_run(RECORDING, later_notes=NOTES), **changes)


def season_digests(review: Review) -> list[Digest]:
    """Fourteen runs, three days apart: noise of half a percent, and a meter that reads 6 % less from the eighth on."""
    digest = digest_of(review)
    assert digest.steady is not None
    noise = np.random.default_rng(7).normal(0.0, 0.005, (14, 3))
    digests = []
    for run, (a, b, c) in enumerate(noise.tolist()):
        meter = 0.94 if run >= 7 else 1.0
        steady = replace(
            digest.steady,
            coefficient=digest.steady.coefficient * meter * (1 + a),
            pressure_pa=digest.steady.pressure_pa * (1 + b),
        )
        started = datetime(2026, 4, 1, 9, tzinfo=UTC) + timedelta(days=3 * run)
        digests.append(
            replace(
                digest,
                started=started.isoformat(),
                steady=steady,
                meter_over_tank=meter * (1 + c),
                meter_over_tank_u=0.01,
            )
        )
    return digests


def renderings() -> dict[str, str]:
    """What stands in golden/, by name of the file."""
    review = reviewed()
    catch = run_against_catch(review, boom_card(catch_card()))
    runs = run_against_run(review, reviewed())
    digests = season_digests(review)
    season = season_of(digests)
    entries = [Entry(Path(f"runs/{one.date}.sward"), 1000, one) for one in digests[:3]]
    return {
        "run-us.txt": review_text(review, "us"),
        "run-metric.txt": review_text(review, "metric"),
        "run-keys.txt": keys_of(review_json(review, "us")),
        "season.txt": "\n".join(season_lines(season)),
        "season-keys.txt": keys_of(season_json(season, "us")),
        "catch-keys.txt": keys_of(comparison_json(catch)),
        "two-runs-keys.txt": keys_of(comparison_json(runs)),
        "runs.txt": _table(entries, Path("runs"), "us"),
        "runs-keys.txt": keys_of({"runs": [entry_json(entry, "us") for entry in entries]}),
    }


def keys_of(out: Any) -> str:
    """Every key of a JSON object with where it stands, one a line."""
    found: dict[str, None] = {}

    def walk(value: Any, place: str) -> None:
        if isinstance(value, dict):
            for key, inner in value.items():
                found[f"{place}.{key}".lstrip(".")] = None
                walk(inner, f"{place}.{key}")
        elif isinstance(value, list):
            for inner in value:
                walk(inner, place + "[]")

    walk(out, "")
    return "\n".join(found)


if __name__ == "__main__":
    GOLDEN.mkdir(exist_ok=True)
    for name, text in renderings().items():
        (GOLDEN / name).write_text(text + "\n", encoding="utf-8")
