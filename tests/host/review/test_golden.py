"""The words and digits of every result, as they are kept in golden/."""

import pytest

from tests.host.review.golden_results import GOLDEN, renderings


@pytest.fixture(scope="module")
def rendered():
    return renderings()


def test_no_word_or_digit_of_a_result_changes_unseen(rendered):
    kept = {path.name: path.read_text(encoding="utf-8").rstrip("\n") for path in GOLDEN.glob("*.txt")}
    assert rendered == kept, "if it is meant: python -m tests.host.review.golden_results, then read the difference"
