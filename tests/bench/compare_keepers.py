"""Keepers who catch with one jug and one gauge, then spray: what `compare` says of sound booms and of worn ones."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np

from host.calibrate.boom import BoomCatch, Reading, catch_test
from host.calibrate.boom_card import as_shown, boom_card, boom_measured, run_over_catch
from host.calibrate.cards import Card, apply_cards, make_card
from host.calibrate.kinds.meter import meter_measured, meter_section
from host.calibrate.kinds.pressure import pressure_measured, pressure_section
from host.calibrate.meter import MeterCatch, calibrate_meter
from host.calibrate.shared_errors import line_of
from host.calibrate.transducer import PressurePoint, calibrate_pressure
from host.calibrate.uncertainty import Component, combine, pooled
from host.calibrate.vessels import JUG, Gauge
from host.review.compare import AGREES, CATCH_AGAIN, CLOGGED, judged
from host.rig.model import DAY_TO_DAY
from host.units import PSI_PA
from tests.host.calibrate.rigs import rig

PASSES, SCATTER = 6, 0.006
MADE = datetime(2026, 5, 14, tzinfo=UTC)


def verdict(
    rng: np.random.Generator,
    psi: float,
    gauge_psi: float,
    jug: float,
    loss: float,
    by_board: bool = False,
    *,
    tests: int = 1,
) -> tuple[str, float]:
    """The verdict on a run at `psi` whose boom lost `loss` since the catch test, and the stated ± (95 %).

    The test's pressure was read from the gauge, or, `by_board`, from the board: by the transducer. All nozzles were
    caught `tests` times, the pressure set anew for each.
    """
    boom, vessel = rig(4), replace(JUG, accuracy=jug)
    gauge = Gauge(PSI_PA, gauge_psi * PSI_PA)
    scale, habit = 1.0 + rng.uniform(-jug, jug), rng.uniform(-0.5, 0.5) * vessel.step_m3
    offset = rng.uniform(-gauge_psi, gauge_psi)

    def read(volume: float) -> float:
        return round((volume * scale + habit) / vessel.step_m3) * vessel.step_m3

    each = float(boom.nozzles.flow_m3_s(psi * PSI_PA)) * (1 + rng.normal(0, 0.01, 4))
    catches = []
    for _ in range(4):
        litres = rng.uniform(2.2e-3, 2.6e-3)
        pulses = int(450e3 * (1 + rng.normal(0, 0.004)) * litres + rng.uniform())
        catches.append(MeterCatch(pulses, read(litres), vessel, pulses / (float(np.sum(each)) * 450e3)))
    meter = calibrate_meter(catches)
    gain = 1.0 + rng.normal(0, 0.01)

    def counts(at: float) -> float:
        return 1023 * (0.1 + 0.8 * (at * gain + rng.normal(0, 0.1)) / 100.0)

    def set_to(mark: float) -> float:
        """The true pressure (psi) when the needle is set to a mark, by an eye that is off by up to half a psi."""
        return mark - offset - rng.uniform(-0.5, 0.5)

    points = [PressurePoint(0.0, counts(0.0))]
    points += [PressurePoint(mark * PSI_PA, counts(set_to(mark))) for mark in (20.0, 40.0)]
    assert boom.pressure is not None
    sensor = calibrate_pressure(points, boom.pressure, 1023, gauge)
    reading, caught = Reading(vessel, gauge=gauge), []
    for _ in range(tests):
        true, seconds = set_to(psi), 60.0 + rng.normal(0, 0.2)
        volumes = tuple(read(flow * math.sqrt(true / psi) * seconds) for flow in each)
        shown = psi * PSI_PA
        if by_board:
            line = sensor.sensor
            shown = float(line.pressure_pa(counts(true), 1023))
            reading = replace(reading, transducer_pa=float(line.uncertainty_at(shown)), transducer=line_of(line))
        caught.append(BoomCatch(shown, 60.0, volumes))
    test = catch_test(caught, boom, None, reading)
    cards = [
        make_card("meter", "R", MADE, meter_section(meter), meter_measured(meter, catches)),
        make_card("pressure", "R", MADE, pressure_section(sensor), pressure_measured(sensor, points, 1023)),
        make_card("boom", "R", MADE, {}, boom_measured(boom, test, reading)),
    ]
    return _judge(rng, cards, float(np.sum(each)) * (1.0 - loss), psi, counts)


def _judge(rng, cards: list[Card], flow: float, psi: float, counts) -> tuple[str, float]:  # type: ignore[no-untyped-def]
    used = apply_cards(rig(4), cards)
    standard = as_shown(boom_card(cards[2]), used.pressure, cards)
    meter, sensor = used.meter, used.pressure
    assert sensor is not None
    day = 1.0 + rng.normal(0, DAY_TO_DAY)
    passes = 1.0 + rng.normal(0, SCATTER, PASSES)
    hz = flow * 450e3
    measured = flow * day * float(np.mean(passes)) * 450e3 / float(meter.pulses_per_m3(hz))
    pressure = float(sensor.pressure_pa(counts(psi), 1023))
    ratio = measured / math.sqrt(pressure) / standard.coefficient(pressure)
    scatter, degrees = pooled(float(np.std(passes, ddof=1)), PASSES - 1, 0.007)
    repeat = Component("passes", scatter / math.sqrt(PASSES), degrees)
    parts = run_over_catch(standard, used, cards, hz, pressure)
    expanded = combine([*parts, repeat]).expanded
    return judged(ratio, expanded, 4)[0], expanded


def print_compare(repetitions: int, seed: int) -> None:
    """What `compare` says of sound booms and of booms that lost 3 %, with one jug and one gauge for everything."""
    print(
        "\ncompare, of 100:                          catch again   agrees   stated ±   | lost 3 %: called   5 %: called"
    )
    for psi in (15.0, 25.0, 40.0, 50.0):
        for gauge_psi, by_board in ((1.0, False), (2.0, False), (3.0, False), (3.0, True)):
            rng = np.random.default_rng([seed, 9, int(psi), int(gauge_psi), by_board])
            sound = [verdict(rng, psi, gauge_psi, 0.01, 0.0, by_board) for _ in range(repetitions)]
            worn = [
                [verdict(rng, psi, gauge_psi, 0.01, loss, by_board)[0] for _ in range(repetitions)]
                for loss in (0.03, 0.05)
            ]
            again, agrees = (100 * np.mean([said == word for said, _ in sound]) for word in (CATCH_AGAIN, AGREES))
            called = [100 * np.mean([said == CLOGGED for said in words]) for words in worn]
            read = "by the board" if by_board else f"gauge {gauge_psi:.0f} psi"
            print(
                f"  {psi:.0f} psi, {read:12}, jug 1 % {again:23.1f} {agrees:8.1f}"
                f" {100 * np.median([u for _, u in sound]):10.1f} {called[0]:18.1f} {called[1]:13.1f}"
            )
