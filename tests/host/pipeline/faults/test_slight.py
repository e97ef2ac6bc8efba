"""What is worth a sound: a change of the boom that the ground feels. A smaller one gets words.

Meters of this kind are good to some per cent and a spraying pressure wanders by as much (common practice), so that a
change of one per cent is no reason to stop; the sprayer is the bench's other one.
"""

import numpy as np
import pytest

from host.pipeline import Pipeline
from host.review.alarms import alarm_events
from tests.bench.bench_other import faults_of
from tests.bench.other_runs import draw, fault_run, rng_for
from tests.bench.other_sprayer import Thing, make_run
from tests.host.pipeline.made import IDENTITY

FINE = {"nozzles": 3, "nozzle_gpm": 0.3, "per_litre": 2000.0}


def told(seed, **clog):
    one = fault_run(FINE, seed, "clog", **clog)
    return one, [fault for fault in faults_of(one.run) if fault.called_s >= one.at_s - 0.2]


@pytest.mark.parametrize("seed", range(4))
def test_a_twentieth_of_a_nozzle_has_words_and_makes_no_sound(seed):
    _, (fault, *_) = told(seed, amount=0.05)
    assert fault.nozzles == pytest.approx(0.05, abs=0.02)
    assert not fault.urgent
    assert not alarm_events([fault], [])


@pytest.mark.parametrize("seed", range(4))
def test_a_tenth_makes_one_when_it_has_been_judged_and_a_quarter_sooner(seed):
    for amount, least_s, most_s in ((0.1, 1.9, 3.5), (0.25, 0.5, 1.5)):
        one, (fault, *_) = told(seed, amount=amount)
        assert fault.urgent
        (raised,) = [event for event in alarm_events([fault], []) if event.what == "raised"]
        assert raised.at_s == fault.heard_s
        assert least_s < fault.heard_s - one.at_s < most_s


def test_what_creeps_on_makes_a_sound_when_it_has_become_more_and_is_never_surely_a_moved_reading():
    rng = rng_for("creeps on", 1)
    make = draw(rng, **FINE, wander=0.01)
    # A twentieth of a nozzle at once, then slowly half a one.
    things = [Thing("clog", 60.0, 0.05), Thing("clog", 80.0, 0.45, over_s=90.0)]
    run = make_run(make, [(4.0, 200.0)], things, rng)
    pipeline, heard = Pipeline(run.rig), None
    for place in range(0, len(run.frames), 10):
        pipeline.push(run.frames[place : place + 10], [IDENTITY])
        urgent = [fault for fault in pipeline.faults() if fault.urgent]
        if urgent and heard is None:
            heard = float(run.frames["host_s"][min(place + 9, len(run.frames) - 1)]), urgent[0].heard_s
        surely = [fault for fault in pipeline.faults() if fault.kind == "transducer_drift" and fault.sure >= 0.9]
        assert not any(fault.nozzles > 0.1 for fault in surely)
    assert heard is not None
    now_s, said_s = heard
    assert said_s == pytest.approx(now_s, abs=1.1)  # as it was live
    amount = 0.05 + 0.45 * np.clip((now_s - 80.0) / 90.0, 0.0, 1.0)
    assert 0.06 < amount < 0.3
