"""Every result on terminal, page, print and as JSON; its words and digits as they are kept in golden/."""

import pytest

from tests.host.documents.faces import assert_all_faces_say_the_same
from tests.host.review.golden_results import GOLDEN, documents, renderings


def test_no_word_or_digit_of_a_result_changes_unseen():
    kept = {path.name: path.read_text(encoding="utf-8").rstrip("\n") for path in GOLDEN.glob("*.txt")}
    assert renderings() == kept, "if it is meant: python -m tests.host.review.golden_results, then read the difference"


@pytest.fixture(scope="module")
def made():
    return documents()


@pytest.mark.parametrize("name", ["run-us", "run-metric", "season", "catch", "two-runs", "runs"])
def test_terminal_page_print_and_json_say_the_same(made, name):
    assert_all_faces_say_the_same(made[name])
