"""A run is judged by its ground, not by its mean."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from host.documents.json import to_json
from host.library.runs_document import rate_words
from host.review.digest import digest_from_json, digest_of, digest_to_json
from host.review.review import review_run
from host.review.season import season_of
from host.review.season_document import season_document
from host.review.verdict import Verdict

RECORDING = next((Path(__file__).parents[3] / "recordings").glob("*.sward"))


@pytest.mark.parametrize(
    ("verdict", "message"),
    [
        (Verdict(0.94, 0.03, 0.03, 0.0, 0, 0), "On target on 94 % of the ground."),
        (Verdict(0.50, 0.20, 0.30, 0.0, 2, 3), "Half of the ground was off target: 2 passes heavy, 3 light."),
        (Verdict(0.31, 0.69, 0.0, 0.0, 1, 0), "69 % of the ground was off target: 1 pass heavy."),
        (Verdict(0.60, 0.0, 0.40, 0.0, 0, 0), "40 % of the ground was off target."),
        (
            Verdict(0.60, 0.40, 0.0, 0.0, 1, 0, timed=True),
            "40 % of the ground was off target, if walked at the timed pace: 1 pass heavy.",
        ),
        (
            Verdict(0.95, 0.05, 0.0, 0.0, 0, 0, timed=True),
            "On target on 95 % of the ground, if walked at the timed pace.",
        ),
        (Verdict(0.72, 0.0, 0.0, 0.28, 0, 0), "On target on 72 % of the ground. What 28 % of it got is not known."),
    ],
)
def test_the_sentence(verdict, message):
    assert verdict.message == message


def test_ground_that_is_not_known_is_not_good():
    assert not Verdict(0.72, 0.0, 0.0, 0.28, 0, 0).good
    assert Verdict(0.90, 0.05, 0.05, 0.0, 0, 0).good


def test_shares_in_a_few_words():
    assert Verdict(0.54, 0.004, 0.256, 0.2, 0, 1).shares == "54 % on target, 26 % under, 20 % not known"
    assert Verdict(1.0, 0.0, 0.0, 0.0, 0, 0).shares == "100 % on target"
    assert Verdict(1.0, 0.0, 0.0, 0.0, 0, 0, timed=True).shares == "100 % on target, if walked at the timed pace"


def test_a_season_and_a_list_say_of_each_run_which_share_of_its_ground_was_on_target():
    good, bad = Verdict(0.96, 0.02, 0.02, 0.0, 0, 0), Verdict(0.46, 0.30, 0.04, 0.20, 2, 0)
    digest = digest_of(review_run(RECORDING, watch_faults=False))
    runs = [
        replace(digest, started="2026-04-01T09:00:00+00:00", verdict=good),
        replace(digest, started="2026-04-08T09:00:00+00:00", verdict=bad),
        replace(digest, started="2026-04-15T09:00:00+00:00", verdict=None, rate_m3_m2=None, unassigned_m3=0.002),
    ]
    assert "46 % on target, 30 % over, 4 % under, 20 % not known; mean 0.9" in rate_words(runs[1], "us")
    assert rate_words(runs[2], "us") == "no rate: no ground is known"
    document = season_document(season_of(runs), "us")
    rows = to_json(document)["ground"]
    shares = ("on_target_percent", "over_target_percent", "under_target_percent", "not_known_percent")
    assert [tuple(row[key] for key in shares) for row in rows[:2]] == [(96, 2, 2, 0), (46, 30, 4, 20)]
    assert [row["rate_gal_per_1000_ft2"] is None for row in rows] == [False, False, True]
    section = next(one for one in document.sections if one.heading == "What the ground got")
    table, said = section.blocks
    assert table.marked == {1, 2}
    assert said.messages[0].text == "Marked runs have less than 90 % of their ground on target."
    assert digest_from_json(json.loads(json.dumps(digest_to_json(runs[1])))).verdict == bad
