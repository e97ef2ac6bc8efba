"""The packaged scenario of each cause: review calls it by its name, or names it where two causes look the same."""

from __future__ import annotations

import json

import pytest

from host.cli.main import main
from host.pipeline.faults import CAUSES
from host.review.review import review_run
from host.simulate.disturbances import KINDS, cause_of
from host.simulate.scenario import load_scenario, packaged_scenarios

NAMES = [name for name in packaged_scenarios() if name.startswith("fault-")]
# To flow and pressure these are nearly the same (FAULTS.md): the right one must be named, first or as the other.
DOUBTFUL = {"clog", "meter_low", "wear", "leak", "lost_tip"}
WITHIN_S = 20.0  # of its beginning; what creeps in takes longest
WORN_WITHIN_S = 30.0  # wear is not urgent, and a rise must be proven more surely than a fall


@pytest.mark.parametrize("name", NAMES)
def test_review_calls_it_by_its_cause(name, tmp_path):
    path = tmp_path / "run.sward"
    assert main(["simulate", name, "--out", str(path)]) == 0
    (expected,) = json.loads(path.with_suffix(".truth.json").read_text())["causes"]
    review = review_run(path)
    assert review.faults, "nothing was called"
    fault = review.faults[0]
    named = (fault.kind, *fault.or_else) if fault.kind in DOUBTFUL and fault.sure < 0.9 else (fault.kind,)
    assert expected["cause"] in named
    assert 0 <= fault.called_s - expected["begin_s"] <= (WORN_WITHIN_S if name == "fault-worn-tips" else WITHIN_S)
    assert len(review.faults) == 1, "one fault of the sprayer is one fault to its user"


def test_there_is_a_scenario_for_every_cause_that_a_scenario_can_bring_about():
    kinds = {event.kind for name in NAMES for event in load_scenario(name).disturbances}
    assert kinds >= {name for name in KINDS if cause_of(name)} - {"line_damage"}
    assert {cause_of(name) for name in KINDS} - {""} <= set(CAUSES)


def test_several_rigs_are_tried():
    rigs = [load_scenario(name).rig for name in NAMES]
    assert {rig.nozzles.count for rig in rigs} >= {2, 3, 5, 8}
    assert min(rig.meter.curve[-1][1] for rig in rigs) <= 450e3
    assert max(rig.meter.curve[-1][1] for rig in rigs) > 2000e3
