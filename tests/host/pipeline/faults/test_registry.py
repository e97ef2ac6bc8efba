"""A cause is whole: it has words, a section in FAULTS.md, a disturbance that brings it about, and a case."""

import re
from pathlib import Path

import pytest

from host.pipeline import faults
from host.pipeline.faults.causes import CAUSES, FAMILIES, RULES
from host.pipeline.faults.open_fault import TRANSITIONS, OpenFault, State
from host.simulate.disturbances import KINDS
from tests.bench.fault_runs import CAUSES as BENCHED
from tests.host.pipeline.faults.test_causes import CASES

PAGE = Path(faults.__file__).with_name("FAULTS.md").read_text(encoding="utf-8")
# Tried elsewhere: by the packaged scenarios of a dry tank and of refused pulses, in test_section_shut and ..._open.
ELSEWHERE = {"tank_empty", "meter_refused", "section_shut", "section_open"}


@pytest.mark.parametrize("cause", CAUSES.values(), ids=list(CAUSES))
def test_a_cause_is_whole(cause):
    assert cause.words
    assert cause.check
    section = re.search(rf"^#### `{cause.name}`: (.*)\n\n(.+)", PAGE, re.MULTILINE)
    assert section, f"FAULTS.md has no section '#### `{cause.name}`: ...'"
    assert section[1] == cause.words
    assert bool(cause.disturbances) != bool(cause.not_simulated), "a disturbance, or why there is none"
    assert {kind for kind in cause.disturbances if not KINDS[kind].is_fault} == set()
    named = {name for _, _, names, _ in CASES for name in names}
    assert cause.name in named | ELSEWHERE, "no case in test_causes.py"
    benched = {kind for kind, *_ in BENCHED}
    assert set(cause.disturbances) & benched or cause.not_simulated, "no size in tests/bench/fault_runs.py"


def test_look_alikes_are_causes_and_told_apart():
    for cause in CAUSES.values():
        assert set(cause.look_alikes) <= set(CAUSES)
        assert not cause.look_alikes or cause.tell, cause.name


def test_no_name_is_used_twice_and_none_is_unknown_to_the_simulator():
    assert len(CAUSES) == sum(len(family.CAUSES) for family in FAMILIES)
    assert len(RULES) == sum(len(family.RULES) for family in FAMILIES)
    brought_about = [kind for cause in CAUSES.values() for kind in cause.disturbances]
    assert len(brought_about) == len(set(brought_about))
    assert {name for name, kind in KINDS.items() if kind.is_fault} - set(brought_about) == {"wheel_slip"}


def test_the_page_has_no_section_of_a_cause_that_is_none():
    assert set(re.findall(r"^#### `(\w+)`", PAGE, re.MULTILINE)) == set(CAUSES)


def test_an_open_fault_goes_only_the_ways_that_are_named():
    fault = OpenFault(1, "clog", 1.0, 1.2, 0.0)
    assert fault.state is State.PROVISIONAL
    with pytest.raises(AssertionError, match="cannot go from provisional to settled"):
        fault.judged(settled=True)
    fault.confirm(1.7)
    fault.judged(settled=True)
    fault.end(3.0, 1.0)
    with pytest.raises(AssertionError, match="cannot go from ended to called"):
        fault.judged(settled=False)
    assert set(TRANSITIONS) == set(State)
