"""Results whose renderings are kept in golden/, so that every change of a word or a digit is seen.

`python -m tests.host.review.golden_results` writes them anew; look at the difference before you commit it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from host.calibrate.cards import save_card
from host.documents.document import Document
from host.documents.json import to_json
from host.documents.text import format_text
from host.library import Entry
from host.library.runs_document import runs_document
from host.review.comparison_document import catch_comparison, run_comparison
from host.review.digest import Digest, digest_of
from host.review.review import Review, review_run
from host.review.run_document import run_document
from host.review.season import season_of
from host.review.season_document import season_document
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


def documents() -> dict[str, Document]:
    """One document of each result that host.review has."""
    review = reviewed()
    digests = season_digests(review)
    entries = [Entry(Path(f"runs/{digest.date}.sward"), 1000, digest) for digest in digests[:3]]
    entries.append(Entry(Path("runs/empty.sward"), 0, None, "empty.sward is empty: delete it or leave it"))
    with TemporaryDirectory() as cards:
        save_card(catch_card(), Path(cards))
        catch = catch_comparison(review, Path(cards), "us")
    other = replace(review, run=replace(review.run, path=Path("later.sward")))
    return {
        "run-us": run_document(review, "us"),
        "run-metric": run_document(review, "metric"),
        "season": season_document(season_of(digests), "us"),
        "catch": catch,
        "two-runs": run_comparison(review, other, "us"),
        "runs": runs_document(entries, Path("runs"), "us"),
    }


def renderings() -> dict[str, str]:
    """What stands in golden/, by name of the file: the terminal's text, and the keys of the JSON."""
    out = {}
    for name, document in documents().items():
        out[f"{name}.txt"] = format_text(document)
        if name != "run-metric":
            out[f"{name.removesuffix('-us')}-keys.txt"] = keys_of(to_json(document))
    return out


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
