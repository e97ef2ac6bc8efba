"""Numbers as people type them into fields."""

from __future__ import annotations

import pytest

from host.entries import read_whole
from host.errors import BadInputError


@pytest.mark.parametrize(
    ("text", "number"),
    [("1043", 1043), ("1,043", 1043), ("1 043", 1043), ("12\u202f345", 12345), ("1,234,567", 1234567), ("007", 7)],
)
def test_counts_may_have_their_thousands_apart(text: str, number: int) -> None:
    assert read_whole(text, "The pulses") == number


@pytest.mark.parametrize(
    "text", ["", "0", "000", "-5", "1.5", "1.043", "10,43", "1,0434", "0,500", ",500", "1,,000", "٣", "9" * 330]
)
def test_what_is_no_count_is_refused(text: str) -> None:
    with pytest.raises(BadInputError, match=r"The pulses, .* give a whole number above zero"):
        read_whole(text, "The pulses")
