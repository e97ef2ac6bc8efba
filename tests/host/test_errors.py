"""A sentence is one line that can be printed, whatever it quotes."""

from __future__ import annotations

import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.errors import BadInputError, NoAnswerError, UserError, error_named


@pytest.mark.parametrize(
    ("quoted", "shown"),
    [("a\nb", r"a\nb"), ("\x1b[2J", r"\x1b[2J"), ("\ud800", r"\ud800"), ("\u202e", r"\u202e"), ("ü 5 °C", "ü 5 °C")],
)
def test_what_cannot_be_seen_is_written_out(quoted: str, shown: str) -> None:
    assert str(UserError(f"{quoted} is wrong")) == f"{shown} is wrong"


@given(st.text(st.characters()))
def test_any_text_makes_one_short_line(text: str) -> None:
    error = UserError(f"key {text * 50} is unknown: take it out")
    assert len(str(error).splitlines()) == 1 and len(str(error)) <= 600
    assert str(error).startswith("key ") and str(error).endswith(": take it out")
    assert str(error).encode() and str(pickle.loads(pickle.dumps(error))) == str(error)


def kinds(of: type[UserError] = UserError) -> list[type[UserError]]:
    return [
        kind for direct in of.__subclasses__() for kind in (direct, *kinds(direct)) if kind.__module__ == "host.errors"
    ]


def test_each_kind_of_error_is_found_again_by_its_name() -> None:
    assert NoAnswerError in kinds() and BadInputError in kinds()
    for kind in kinds():
        assert error_named(kind.name) is kind and kind.name
    assert error_named("of a later version") is UserError and error_named("") is UserError
