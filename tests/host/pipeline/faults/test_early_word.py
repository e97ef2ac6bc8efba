"""A word for what is likely comes sooner than the step, and a false one leaves the watch as if it had not been. Runs
are those of tests/bench/other_sprayer.py: its physics share nothing with the watch but the orifice law."""

from dataclasses import replace

import pytest

from host.pipeline.faults import steps, windows
from host.pipeline.faults.early_word import EarlyWord
from host.pipeline.faults.open_fault import OpenFault, State
from host.pipeline.faults.timing import Timing
from host.pipeline.faults.tuning import TUNING
from tests.bench.bench_other import faults_of
from tests.bench.other_runs import fault_run, quiet_run

TWENTY_A_SECOND = {"nozzles": 3, "nozzle_gpm": 0.3, "per_litre": 450.0, "interval_s": 0.05}


def said(interval_s=0.1):
    """A word for a fall of c, said at 0 s, and those that are taken back from then on."""
    gone = []
    word = EarlyWord(gone.append, Timing(interval_s))
    fault = OpenFault(1, "clog", 0.0, 0.0, 0.0, before=0.0, after=-0.1)
    word.say(fault)
    return word, fault, gone


def test_a_word_stays_as_long_as_there_are_signs_of_it_but_not_for_ever():
    word, fault, gone = said()
    after = next(n for n in range(1, 100) if word.follow(-3, 0.1 * n) or gone)
    assert 0.1 * after == pytest.approx(TUNING.word_most[0])
    assert fault.state is State.WITHDRAWN


@pytest.mark.parametrize("sign", [0, 5])
def test_a_word_of_which_there_is_no_sign_any_more_is_taken_back_within_half_a_second(sign):
    word, fault, gone = said()
    for n in range(1, 6):
        word.follow(sign, 0.1 * n)
    assert gone == [fault]
    assert word.fault is None


def test_after_a_false_word_there_is_none_for_ten_seconds():
    word, _, _ = said()
    word.take_back(0.3)
    assert not word.follow(-3, 9.0)
    assert word.follow(-3, 11.0)
    assert not word.follow(0, 12.0)


def test_a_step_goes_on_with_its_word_and_takes_back_that_of_the_other_direction():
    word, fault, gone = said()
    assert word.proven(down=True, now_s=0.2) is fault
    assert not gone
    word, fault, gone = said()
    assert word.proven(down=False, now_s=0.2) is None
    assert gone == [fault]


def without_early_words(monkeypatch, run):
    with monkeypatch.context() as patch:
        for module in (steps, windows):
            patch.setattr(module, "TUNING", replace(TUNING, word_tax=1e9, word_odds=TUNING.bubble_odds))
        return faults_of(run)


def called(faults):
    """All that is said of them, but when the first word came and their numbers."""
    return [replace(fault, called_s=0.0, number=0) for fault in faults]


@pytest.mark.parametrize("amount", [1.0, 0.25, 0.1])
def test_the_word_comes_sooner_and_what_is_called_and_when_stays_the_same(monkeypatch, amount):
    gained = []
    for seed in range(6):
        run = fault_run(TWENTY_A_SECOND, seed, "clog", amount=amount).run
        late, early = without_early_words(monkeypatch, run), faults_of(run)
        assert called(early) == called(late)
        assert late
        gained += [a.called_s - b.called_s for a, b in zip(late, early, strict=True)]
    assert min(gained) >= 0.0
    if amount < 0.5:  # a whole nozzle shows in two or three reports either way
        assert sum(gained) > 0.0


def test_a_false_word_leaves_nothing_behind(monkeypatch):
    for physics in ("50 ms", "drifts x3"):
        run = quiet_run(physics, 1, 600.0)
        assert called(faults_of(run)) == called(without_early_words(monkeypatch, run))
