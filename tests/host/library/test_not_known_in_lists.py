"""Runs of which nothing was measured, in lists and in what a season has used."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from host.library.entry import Entry
from host.library.runs_document import applied_words, rate_words, totals_words
from host.library.season_use import used_this_season
from host.review.digest import digest_of
from tests.independent_board.cases import NO_WHEEL
from tests.independent_board.lines import Who
from tests.independent_board.test_not_known import NO_METER, review_of_board


@pytest.fixture(scope="module")
def digests():
    boards = {"sprayed": Who(), "no meter": Who(capabilities=NO_METER), "no wheel": Who(capabilities=NO_WHEEL)}
    found = {name: digest_of(review_of_board(who)) for name, who in boards.items()}
    found["silent"] = digest_of(review_of_board(Who(), sent=False))
    return {name: replace(digest, started="2026-05-14T09:00:00+01:00") for name, digest in found.items()}


def entries(*digests):
    return [Entry(Path(f"{number}.sward"), 0, digest) for number, digest in enumerate(digests)]


def test_a_run_says_what_is_not_known_of_it(digests) -> None:
    assert applied_words(digests["no meter"], "metric") == applied_words(digests["silent"], "metric") == ""
    assert applied_words(digests["no wheel"], "metric").endswith(" L, area not known")
    assert rate_words(digests["no meter"], "metric").endswith("not known: the board has no flow meter input")
    assert rate_words(digests["silent"], "metric").endswith("not known: no report of the board was read")
    assert rate_words(digests["no wheel"], "metric") == "no rate: no ground is known"
    assert (digests["no meter"].faults, digests["silent"].faults) == (0, None)


def test_a_sum_over_runs_says_which_it_leaves_out(digests) -> None:
    known = totals_words(entries(digests["sprayed"]), "metric").removeprefix("1 run: ")
    both = totals_words(entries(digests["sprayed"], digests["no meter"]), "metric")
    assert both == f"2 runs: {known}, not counting what is not known of 1 run"
    assert totals_words(entries(digests["silent"]), "metric") == "1 run: volume not known, area not known"
    alone = totals_words(entries(digests["no wheel"]), "metric")
    assert alone == f"1 run: {applied_words(digests['no wheel'], 'metric')}"


def test_a_run_of_an_unknown_rate_is_not_counted_as_none_used(digests) -> None:
    today = date(2026, 6, 1)
    assert used_this_season(entries(digests["sprayed"]), today).not_counted == 0
    assert used_this_season(entries(*digests.values()), today).not_counted == 3
