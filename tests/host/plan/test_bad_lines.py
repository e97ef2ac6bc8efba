"""Bad command lines to every command that calculates: one message, exit code 2, no traceback, nothing wrongly taken."""

from __future__ import annotations

import random
import re

import pytest

from tests.host.plan.asking import ask
from tests.host.plan.bad_words import LINES, all_bad_lines, bad_line, extreme_line, slipped_line


@pytest.mark.parametrize("line", LINES, ids=lambda line: " ".join(line.words[:2]))
def test_the_good_lines_are_taken(line):
    answer = ask(*line.words)
    assert answer.code in (0, 1), answer.err
    assert answer.out and not answer.err


def refused(words, what):
    answer = ask(*words)
    assert (answer.code, answer.out) == (2, ""), (what, words, answer)
    message = answer.err.strip()
    assert message.startswith("swardflow") and "\n" not in message and "Traceback" not in message, (what, answer)
    assert len(message) < 900, (what, message)


def answered_or_refused(words):
    answer = ask(*words)
    assert answer.code in (0, 1, 2), words
    assert (answer.code == 2) == (answer.out == ""), (words, answer)
    assert "nan" not in answer.out and "e+" not in answer.out, (words, answer.out)


def readable(words):
    answer = ask(*words)
    assert (answer.code == 2) == (answer.out == ""), (words, answer)
    assert not re.search(r"[\d.,\u202f]{20}", answer.out), (words, answer.out)


def test_bad_lines_are_refused():
    draw = random.Random(7)
    for _ in range(400):
        refused(*bad_line(draw))


def test_a_finger_that_slips_gets_an_answer_or_a_message():
    draw = random.Random(8)
    for _ in range(300):
        answered_or_refused(slipped_line(draw))


def test_extreme_sizes_get_a_message_or_an_answer_that_can_be_read():
    draw = random.Random(9)
    for _ in range(300):
        readable(extreme_line(draw))


@pytest.mark.soak
def test_every_bad_value_in_every_place_and_thousands_at_random():
    lines = list(all_bad_lines())
    draw = random.Random(2026)
    lines += [bad_line(draw) for _ in range(max(0, 5_000 - len(lines)))]
    assert len(lines) >= 5_000
    for words, what in lines:
        refused(words, what)
    for _ in range(2_000):
        answered_or_refused(slipped_line(draw))
