"""One fault each, on fixed seeds: what is called, how soon, and how big.

Which way flow and pressure go in each fault is a fact of the trade (common practice).
"""

import pytest

from host.pipeline import Pipeline
from host.units import PSI_PA
from tests.bench.fault_runs import fault_run
from tests.host.pipeline.made import IDENTITY

THREE = "3x0.3, 450/L"
# Disturbance, its size, the causes that are right, and the seconds in which it must be called.
CASES = [
    ("clog", {"amount": 1.0}, {"clog", "meter_low"}, 0.6),
    ("clog", {"amount": 0.5}, {"clog", "meter_low"}, 0.8),
    ("clog", {"amount": 0.25}, {"clog", "meter_low"}, 1.2),
    ("kink", {"amount": 0.5}, {"clog", "meter_low"}, 0.6),
    ("lost_tip", {"amount": 4.0}, {"lost_tip"}, 3.0),
    ("leak", {"amount": 0.25}, {"leak", "wear"}, 3.0),
    ("wear", {"amount": 0.10, "nozzles": 2, "over_s": 60.0}, {"wear", "leak"}, 40.0),
    ("strainer", {"amount": 0.75}, {"supply_short"}, 3.0),
    ("regulator", {"amount": 0.9}, {"pressure_low", "regulator"}, 3.0),
    ("regulator", {"amount": 0.45}, {"pressure_down", "regulator"}, 12.0),
    ("battery", {"amount": 0.4}, {"battery"}, 2.0),
    ("air", {"amount": 0.7}, {"air"}, 10.0),
    ("valve_shut", {}, {"valve_shut"}, 1.5),
    ("meter_stuck", {}, {"meter_stuck"}, 1.5),
    ("pump_off", {}, {"pump_off"}, 3.0),
    ("meter_low", {"amount": 0.3}, {"meter_low", "clog"}, 1.0),
    ("meter_missing", {"amount": 0.2}, {"meter_missing"}, 5.0),
    ("meter_noise", {"amount": 60.0}, {"meter_noise"}, 5.0),
    ("transducer_open", {}, {"transducer_open"}, 0.8),
    ("transducer_short", {}, {"transducer_short"}, 0.8),
    ("transducer_frozen", {}, {"transducer_frozen"}, 2.5),
    ("transducer_drift", {"amount": 5 * PSI_PA}, {"transducer_drift"}, 2.0),
    ("wheel_stuck", {}, {"wheel_stuck", "standing"}, 4.0),  # standing still looks the same
    ("board_reset", {"lasts_s": 1.5}, {"board_reset"}, 2.5),
    ("link_stall", {"lasts_s": 4.0}, {"link_stale"}, 5.0),
    ("unplug", {"lasts_s": 5.0}, {"link_stale"}, 6.0),
    ("line_loss", {"amount": 0.1}, {"link_poor"}, 15.0),
]


def called(run):
    pipeline = Pipeline(run.rig)
    pipeline.push(run.frames, [IDENTITY])
    return pipeline.faults()


@pytest.mark.parametrize(("kind", "detail", "names", "within_s"), CASES, ids=[f"{c[0]} {c[1]}" for c in CASES])
def test_it_is_called_by_its_name(kind, detail, names, within_s):
    run = fault_run(THREE, 7, kind, **detail)
    faults = called(run)
    assert faults, "nothing was called"
    assert faults[0].kind in names
    assert 0 <= faults[0].called_s - run.at_s <= within_s
    assert faults[0].began_s <= faults[0].called_s
