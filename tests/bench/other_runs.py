"""Sprayers, operators and faults drawn at random for the wide bench (other_sprayer)."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tests.bench.other_sprayer import Make, Run, Thing, make_run

# What a physics is about, with the draw of what it varies.
PHYSICS: dict[str, dict[str, Any]] = {
    "as built": {},
    "no switch": {"switch": "none"},
    "no switch, lag .45": {"switch": "none", "lag_s": 0.45},
    "no switch, behind valve": {"switch": "none", "behind_valve": True},
    "switch .1 late": {"switch_off_late_s": 0.1},
    "switch .4 late": {"switch_off_late_s": 0.4},
    "switch 2 s early": {"switch_on_early_s": 2.0},
    "bouncing switch": {"switch": "bouncing"},
    "behind valve": {"behind_valve": True},
    "lag .60": {"lag_s": 0.60},
    "boom fills in 2 s": {"fill_s": 2.0},
    "22 psi, wanders": {"set_psi": 22.0, "wander": 0.06},
    "50 ms": {"interval_s": 0.05},
    "20 ms": {"interval_s": 0.02},
    "500 ms": {"interval_s": 0.5},
    "1000 ms": {"interval_s": 1.0},
    "6000/L": {"per_litre": 6000.0},
    "8 nozzles": {"nozzles": 8, "nozzle_gpm": 0.2},
    "drifts x3": {"meter_drift": 0.009, "zero_drift_psi": 0.45},
}


@dataclass(frozen=True)
class OneFault:
    """A run with one fault, and when it came."""

    run: Run
    at_s: float


def rng_for(*what: Any) -> np.random.Generator:
    return np.random.default_rng(zlib.crc32(repr(what).encode()))


def draw(rng: np.random.Generator, **fixed: Any) -> Make:
    """A sprayer drawn at random, but for what is fixed."""
    nozzles = int(rng.choice([2, 3, 3, 5, 8]))
    make = Make(
        nozzles=nozzles,
        nozzle_gpm=0.3 if nozzles <= 3 else 0.2,
        per_litre=float(rng.choice([450.0, 1000.0, 2000.0])),
        behind_valve=False,
        lag_s=float(rng.uniform(0.15, 0.35)),
        lag_growth=float(rng.uniform(0.1, 0.5)),
        fill_s=float(rng.uniform(0.05, 0.6)),
        set_psi=float(rng.uniform(25.0, 45.0)),
        wander=float(rng.uniform(0.01, 0.05)),
        droop=float(rng.uniform(0.08, 0.18)),
        pump_reserve=float(rng.uniform(1.3, 2.0)),
        zero_psi=float(rng.uniform(-0.8, 0.8)),
        poles=int(rng.integers(4, 9)),
        pole_error=float(rng.uniform(0.01, 0.04)),
        jitter=float(rng.uniform(0.005, 0.015)),
        pulsation=float(rng.uniform(0.01, 0.05)),
        bumps=float(rng.uniform(0.01, 0.03)),
        jolts_per_minute=float(rng.uniform(0.5, 4.0)),
        speed_m_s=float(rng.uniform(0.8, 1.4)),
    )
    return replace(make, **fixed)


def passes_of(rng: np.random.Generator, seconds: float, short: bool = False) -> list[tuple[float, float]]:
    """Passes of 10 to 60 s (4 to 8 s) with turns between them."""
    at, passes = 4.0, []
    while at < seconds:
        lasts = float(rng.uniform(4.0, 8.0) if short else rng.uniform(10.0, 60.0))
        passes.append((at, at + lasts))
        at += lasts + float(rng.uniform(4.0, 9.0))
    return passes


def operator(rng: np.random.Generator, passes: list[tuple[float, float]], often: float = 1.0) -> list[Thing]:
    """What a person does: stands, lets go, turns the knob, changes pace; and a healthy rig's bubbles and spikes."""
    hours = sum(off - on for on, off in passes) / 3600.0
    things: list[Thing] = []
    rates = {"stand": 6, "let_go": 6, "knob": 4, "pace": 15, "bubble_jitter": 1, "dip": 1, "bubble_pump": 1, "spike": 3}
    for kind, per_hour in rates.items():
        for _ in range(rng.poisson(per_hour * often * hours)):
            on, off = passes[int(rng.integers(len(passes)))]
            at = float(rng.uniform(on + 1.0, max(off - 2.0, on + 1.5)))
            things.append(_done(kind, at, rng))
    return things


def _done(kind: str, at: float, rng: np.random.Generator) -> Thing:
    # Lowest and highest amount, duration (s) and time to grow (s).
    amounts, lasting, over = {
        "stand": ((1.0, 1.0), (2.0, 10.0), (0.2, 1.0)),
        "let_go": ((1.0, 1.0), (0.2, 1.2), (0.0, 0.0)),
        "knob": ((-0.18, 0.18), (np.inf, np.inf), (0.5, 3.0)),
        "pace": ((-0.3, 0.3), (3.0, 15.0), (1.0, 1.0)),
        "dip": ((0.2, 0.6), (0.05, 0.3), (0.0, 0.0)),
        "spike": ((50.0, 300.0), (0.02, 0.1), (0.0, 0.0)),
        "bubble_pump": ((0.2, 0.6), (0.1, 0.4), (0.0, 0.0)),
        "bubble_jitter": ((0.2, 0.6), (0.1, 0.4), (0.0, 0.0)),
    }[kind]
    lasts_s = float("inf") if np.isinf(lasting[0]) else float(rng.uniform(*lasting))
    return Thing(kind, at, float(rng.uniform(*amounts)), lasts_s, float(rng.uniform(*over)))


def quiet_run(physics: str, seed: int, seconds: float, *, person: bool = False, short: bool = False) -> Run:
    """A healthy run, alone or with the whole operator."""
    rng = rng_for("quiet", physics, seed, person, short)
    make = draw(rng, **PHYSICS[physics])
    passes = passes_of(rng, seconds, short)
    return make_run(make, passes, operator(rng, passes) if person else [], rng)


def fault_run(physics: dict[str, Any], seed: int, kind: str, **detail: Any) -> OneFault:
    """A healthy run with one fault in the middle of a pass after about two minutes; that pass goes on for half a
    minute, and two shorter ones come after it. `detail`: see other_sprayer.Thing."""
    before_s, after_s = 110.0, 30.0
    rng = rng_for("fault", sorted(physics.items()), seed)
    make = draw(rng, **physics)
    passes = [p for p in passes_of(rng, before_s) if p[1] < before_s + 40.0]
    on = passes[-1][1] + float(rng.uniform(4.0, 8.0))
    at = on + float(rng.uniform(4.0, 12.0))
    passes.append((on, at + after_s))
    for _ in range(2):
        passes.append((passes[-1][1] + 6.0, passes[-1][1] + 18.0))
    return OneFault(make_run(make, passes, [Thing(kind, at, **detail)], rng), at)


# What comes while the boom is only being learned: disturbance, causes that are right, look-alikes, amount.
EARLY: tuple[tuple[str, tuple[str, ...], tuple[str, ...], float], ...] = (
    ("clog", ("clog",), ("meter_low",), 1.0),
    ("clog", ("clog",), ("meter_low",), 0.5),
    ("lost_tip", ("lost_tip",), ("leak",), 3.5),
    ("leak", ("leak",), ("lost_tip", "wear"), 1.0),
)


def early_run(physics: dict[str, Any], seed: int, kind: str, amount: float) -> OneFault:
    """A run of which the first pass, of 55 s, has a fault 2.5 to 22 s after its beginning, and three more passes."""
    rng = rng_for("early", sorted(physics.items()), seed, kind, amount)
    make = draw(rng, **physics)
    at = 4.0 + float(rng.uniform(2.5, 22.0))
    passes = [(4.0, 59.0), (65.0, 95.0), (101.0, 131.0), (137.0, 167.0)]
    return OneFault(make_run(make, passes, [Thing(kind, at, amount)], rng), at)


def slow_run(seed: int, kind: str, amount: float) -> OneFault:
    """40 minutes, from the tenth of which something changes slowly by `amount` in half an hour."""
    rng = rng_for("slow", seed, kind, amount)
    passes, at = passes_of(rng, 2400.0), 600.0
    return OneFault(make_run(draw(rng), passes, [Thing(kind, at, amount, over_s=1800.0)], rng), at)


# Disturbance, causes that are right, look-alikes that count when merged, sizes.
CAUSES: tuple[tuple[str, tuple[str, ...], tuple[str, ...], tuple[dict[str, Any], ...]], ...] = (
    ("clog", ("clog",), ("meter_low",), ({"amount": 1.0}, {"amount": 0.5}, {"amount": 1.0, "over_s": 6.0})),
    ("section", ("section_shut", "clog"), ("meter_low", "valve_shut"), ({"amount": 0.5},)),
    ("leak", ("leak",), ("lost_tip", "wear"), ({"amount": 1.0}, {"amount": 1.6})),
    ("lost_tip", ("lost_tip",), ("leak",), ({"amount": 3.5},)),
    (
        "strainer",
        ("supply_short",),
        ("pressure_low", "pressure_down", "battery", "regulator"),
        ({"amount": 0.75, "over_s": 3.0}, {"amount": 0.65, "over_s": 30.0}),
    ),
    (
        "regulator",
        ("regulator",),
        ("pressure_low", "pressure_down", "supply_short"),
        ({"amount": 0.6}, {"amount": 0.75}),
    ),
    ("battery", ("battery",), ("supply_short", "pressure_low"), ({"amount": 0.35},)),
    ("air", ("air",), ("tank_empty",), ({"amount": 0.6},)),
    ("tank_empty", ("tank_empty",), ("air",), ({},)),
    ("pump_off", ("pump_off",), ("tank_empty",), ({},)),
    ("valve_shut", ("valve_shut",), ("meter_stuck",), ({},)),
    ("meter_stuck", ("meter_stuck",), ("valve_shut",), ({},)),
    ("meter_low", ("meter_low",), ("clog",), ({"amount": 0.2}, {"amount": 0.3})),
    ("meter_missing", ("meter_missing",), (), ({"amount": 0.25},)),
    ("meter_noise", ("meter_noise",), (), ({"amount": 80.0},)),
    ("transducer_open", ("transducer_open",), (), ({},)),
    ("transducer_short", ("transducer_short",), (), ({},)),
    ("transducer_frozen", ("transducer_frozen",), (), ({},)),
    ("zero", ("transducer_drift",), (), ({"amount": 5.0}, {"amount": -5.0})),
    ("wheel_stuck", ("wheel_stuck",), (), ({},)),
)
