"""Cards defend themselves: slips are asked about before the card, honest calibrations are left in peace.

The wrong ones are what a person gets wrong with a jug, a gauge, a tape and a keyboard; the right ones are drawn with
the scatter that CARDS.md states of each tool. Both go through the sessions that terminal and page drive.
"""

from __future__ import annotations

import dataclasses
import math
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from host.calibrate.cards import Card, make_card
from host.calibrate.checks import DECIMALS, VOLUMES, is_beyond, likely_slip, size_of
from host.calibrate.kinds import boom, course, meter, pressure, wheel
from host.calibrate.kinds.kind import Kind, Outcome
from host.rig import Rig, load_rig
from tests.host.calibrate.jobs import EXAMPLES, WALKER, save, start

RIG = load_rig(str(EXAMPLES / "harrow-lea-pull-behind.toml"))
DAY = datetime(2026, 5, 1, tzinfo=UTC)
PSI = 6894.757293168361
GALLON_L = 3.785411784  # NIST Handbook 44, Appendix C


def card(kind: Kind, rig: Rig, section: dict[str, Any]) -> Card:
    return make_card(kind.name, rig.name, DAY, section, {"expanded_percent": 1.5})


METER_CARD = card(meter.KIND, RIG, {"factor": "452 pulses/L", "uncertainty": "0.7 %"})
PRESSURE_CARD = card(pressure.KIND, RIG, {"span": ["-1 psi", "101 psi"], "uncertainty": "0.7 %"})
WHEEL_CARD = card(wheel.KIND, RIG, {"circumference": "1.21 m", "pulses_per_turn": 10, "uncertainty": "0.3 %"})


def catches(*values: tuple[str, str, str]) -> list[tuple[str, dict[str, str]]]:
    return [("typed", {"pulses": p, "amount": a, "time": t}) for p, a, t in values]


def points(*values: tuple[str, str]) -> list[tuple[str, dict[str, str]]]:
    return [("typed", {"gauge": p, "counts": n}) for p, n in values]


def laps(field: str, *values: str) -> list[tuple[str, dict[str, str]]]:
    return [("typed", {field: value}) for value in values]


def nozzles(pressure_: str, time: str, *amounts: str) -> list[tuple[str, dict[str, str]]]:
    return [("typed", {"pressure": pressure_, "time": time, **{f"nozzle_{n}": a for n, a in enumerate(amounts, 1)}})]


# 1043 pulses in 2.31 L are 451.5 per litre; the rig file says 450. 266 and 430 counts are 20 and 40 psi.
# 508 pulses over 200 ft are 0.12 m each, as in the rig file; 54 s over 60 m are the walker's 4 km/h.
# A nozzle gives 0.35 gal/min at 40 psi: 1214 mL in 55 s.
GOOD = ("1210 mL", "1200 mL", "1215 mL", "1205 mL")
# what went wrong: kind, cards in use, settings, points, what is asked
WRONG: dict[str, tuple[Kind, list[Card], dict[str, str], Any, str]] = {
    "litres as gallons": (meter.KIND, [], {}, catches(("1043", "2.31 gal", "55 s"), ("1039", "2.30 gal", "55 s")),
        "3.8 times fewer than the 1,703.4 pulses/gal of the rig file: litres typed as gallons"),
    "litres as gallons, beside a card": (meter.KIND, [METER_CARD], {},
        catches(("1043", "2.31 gal", "55 s"), ("1039", "2.30 gal", "55 s")), "of the card of 2026-05-01: litres typed"),
    "gallons as litres": (meter.KIND, [], {}, catches(("3950", "2.31 L", "200 s"), ("3940", "2.30 L", "200 s")),
        "gallons typed as litres"),
    "pints as gallons": (meter.KIND, [], {}, catches(("1065", "5 gal", "55 s"), ("1066", "5 gal", "55 s")),
        "8.0 times fewer than the 1,703.4 pulses/gal of the rig file: pints typed as gallons"),
    "fl oz as mL": (meter.KIND, [], {}, catches(("1043", "78 mL", "55 s"), ("1039", "78 mL", "55 s")),
        "fl oz typed as mL"),
    "mL as fl oz": (meter.KIND, [], {}, catches(("1043", "2310 fl oz", "55 s"), ("1039", "2300 fl oz", "55 s")),
        "mL typed as fl oz"),
    "lb as kg": (meter.KIND, [], {}, catches(("1043", "5.09 kg", "55 s"), ("1039", "5.07 kg", "55 s")),
        "lb typed as kg"),
    "imperial gallons": (meter.KIND, [METER_CARD], {},
        catches(("4096", "2 gal", "220 s"), ("4090", "2 gal", "220 s")), "imperial gallons typed as US ones"),
    "decimal point lost": (meter.KIND, [], {}, catches(("1043", "231 L", "55 s"), ("1039", "230 L", "55 s")),
        "100 times fewer than the 1,703.4 pulses/gal of the rig file: a zero or a decimal point"),
    "a zero too few": (meter.KIND, [], {}, catches(("104", "2.31 L", "55 s"), ("104", "2.30 L", "55 s")),
        "10 times fewer than the 1,703.4 pulses/gal of the rig file: a zero"),
    "one of four nozzles caught": (meter.KIND, [], {}, catches(("2200", "1.22 L", "55 s"), ("2190", "1.21 L", "55 s")),
        "only one of 4 nozzles caught"),
    "typed twice": (
        meter.KIND,
        [],
        {},
        catches(("1043", "2.31 L", "55 s"), ("1051", "2.33 L", "55 s"), ("1043", "2.31 L", "55 s")),
        "Catches 1 and 3 are the same to the last digit",
    ),
    "one lone catch": (meter.KIND, [], {}, catches(("1043", "2.31 L", "55 s")), "There is only one catch"),
    "one digit in a lone catch": (meter.KIND, [METER_CARD], {}, catches(("1043", "2.81 L", "55 s")),
        "18 % fewer than the 1,711.0 pulses/gal of the card of 2026-05-01"),
    "one digit in one of four catches": (meter.KIND, [], {},
        catches(*(("1043", a, "55 s") for a in ("2.31 L", "2.30 L", "2.13 L", "2.32 L"))),
        "Catch 3 is +8.5 % from the others"),
    "minutes as seconds": (meter.KIND, [], {}, catches(("1043", "2.31 L", "0.92 s"), ("1039", "2.30 L", "0.92 s")),
        "the whole boom gives 1.715 gal/min: minutes typed as seconds?"),
    "bar as psi": (pressure.KIND, [], {}, points(("0 psi", "104"), ("1.4 psi", "266"), ("2.8 psi", "430")),
        "14 times less than that of the rig file: bar typed as psi?"),
    "psi as bar": (pressure.KIND, [], {}, points(("0 bar", "104"), ("20 bar", "266"), ("40 bar", "430")),
        "psi typed as bar?"),
    "kPa as psi": (pressure.KIND, [PRESSURE_CARD], {}, points(("0 psi", "104"), ("138 psi", "266"), ("276 psi", "430")),
        "kPa typed as psi?"),
    "a zero too few at the gauge": (pressure.KIND, [], {}, points(("0 psi", "104"), ("2 psi", "266"), ("4 psi", "430")),
        "a zero or a decimal point"),
    "one digit at the gauge": (pressure.KIND, [], {}, points(("0 psi", "104"), ("20 psi", "266"), ("46 psi", "430")),
        "17 % more than that of the rig file: check gauge and counts"),
    "5 psi for 20 psi": (pressure.KIND, [], {}, points(("0 psi", "104"), ("5 psi", "266"), ("40 psi", "430")),
        "Point 2 lies 10.0 psi off the line"),
    "zero with the pump on": (pressure.KIND, [PRESSURE_CARD], {}, [("zero", {"counts": "185"})],
        "was the pump off and the boom open?"),
    "twelve bits": (pressure.KIND, [], {"full_scale": "4095"}, points(("0 psi", "104"), ("40 psi", "430")),
        "a full scale of twelve bits for counts of ten?"),
    "a zero too few on the tape": (wheel.KIND, [], {"course": "20 ft"}, laps("pulses", "508", "509"),
        "10 times less than the 4.724 in of the rig file: a zero or a decimal point"),
    "feet as metres": (wheel.KIND, [WHEEL_CARD], {"course": "200 m"}, laps("pulses", "508", "509", "507"),
        "feet typed as metres?"),
    "yards as metres": (wheel.KIND, [], {"course": "66.7 m"}, laps("pulses", "508", "509", "507"),
        "yards typed as metres?"),
    "there and back": (wheel.KIND, [], {"course": "200 ft"}, laps("pulses", "1016", "1018"),
        "there and back in one lap?"),
    "a course of half the length": (wheel.KIND, [], {"course": "200 ft"}, laps("pulses", "254", "255"),
        "a course half as long?"),
    "one digit of a lap": (wheel.KIND, [], {"course": "200 ft"}, laps("pulses", "508", "580", "507"), "Lap 2 is"),
    "4 s for 54 s": (course.KIND, [], {"course": "60 m"}, laps("time", "4 s", "4 s", "4 s"),
        "14 times faster than the 4.00 km/h of the rig file"),
    "metres as feet": (course.KIND, [], {"course": "60 ft"}, laps("time", "54 s", "55 s"), "metres typed as feet?"),
    "minutes for seconds": (course.KIND, [], {"course": "60 m"}, laps("time", "55 min", "54 min"),
        "seconds typed as minutes?"),
    "fl oz as mL in a catch test": (boom.KIND, [], {}, nozzles("40 psi", "55 s", "41 mL", "41 mL", "40 mL", "41 mL"),
        "30 times less than their rating: fl oz typed as mL?"),
    "bar as psi in a catch test": (boom.KIND, [], {}, nozzles("2.8 psi", "55 s", *GOOD), "bar typed as psi"),
    "minutes as seconds in a catch test": (boom.KIND, [], {}, nozzles("40 psi", "0.9 s", *GOOD),
        "minutes typed as seconds?"),
    "a blocked nozzle": (boom.KIND, [], {}, nozzles("40 psi", "55 s", "1210 mL", "1200 mL", "700 mL", "1205 mL"),
        "put nozzle 3 right and catch again"),
    "a digit in one nozzle": (boom.KIND, [], {}, nozzles("40 psi", "55 s", "1210 mL", "1500 mL", "1215 mL", "1205 mL"),
        "put nozzle 2 right and catch again"),
}  # fmt: skip


def came_of(kind: Kind, cards: list[Card], settings: dict[str, str], typed: Any) -> Outcome:
    rig = WALKER if kind is course.KIND else RIG
    session = start(kind, rig, cards, **settings)
    for way, fields in typed:
        save(session, way, **fields)
    session.check()
    return session.outcome()


@pytest.mark.parametrize("name", WRONG)
def test_what_is_wrong_is_asked_about(name: str) -> None:
    kind, cards, settings, typed, asked = WRONG[name]
    outcome = came_of(kind, cards, settings, typed)
    words = [*outcome.questions, outcome.not_standard]
    assert any(asked in text for text in words), words
    assert outcome.document.level == "stop"
    first = outcome.document.sections[0].blocks[0]
    assert [message.text for message in first.messages] == [text for text in words if text]  # type: ignore[union-attr]


def test_there_are_thirty_and_of_every_kind() -> None:
    assert len(WRONG) >= 30
    assert {row[0].name for row in WRONG.values()} == {"meter", "pressure", "wheel", "course", "boom"}


def rounded(value: float, step: float) -> float:
    return round(value / step) * step


def a_meter(rng: np.random.Generator, with_card: bool) -> Outcome:
    """A small meter differs from its sheet by some percent; jugs are right to 1 % and read to 10 mL (CARDS.md)."""
    factor = 450.0 * (1.0 + rng.normal(0.0, 0.01 if with_card else 0.04))
    scale = 1.0 + rng.uniform(-0.01, 0.01)
    typed = []
    for _ in range(int(rng.integers(2, 7))):
        litres = rng.uniform(1.5, 3.0)
        pulses = round(factor * litres * (1.0 + rng.normal(0.0, 0.006)))
        typed += catches((str(pulses), f"{rounded(litres * scale, 0.01):.2f} L", f"{litres / 0.022:.1f} s"))
    return came_of(meter.KIND, [METER_CARD] if with_card else [], {}, typed)


def a_transducer(rng: np.random.Generator, with_card: bool) -> Outcome:
    """Span good to 2 %, zero to 1 % of it, hysteresis to 0.5 %; a gauge right to 1 psi and read to 1 psi."""
    span, zero = 100.0 * (1.0 + rng.uniform(-0.02, 0.02)), rng.uniform(-1.0, 1.0)
    gauge = rng.uniform(-1.0, 1.0)
    typed = []
    for psi in (0.0, *sorted(rng.uniform(15.0, 60.0, int(rng.integers(1, 4))))):
        counts = 1023 * (0.1 + 0.8 * (psi - zero) / span + rng.uniform(-0.004, 0.004))
        shown = rounded(psi + gauge, 1.0) if psi else 0.0
        typed += points((f"{shown:.0f} psi", f"{counts:.1f}"))
    return came_of(pressure.KIND, [PRESSURE_CARD] if with_card else [], {}, typed)


def a_wheel(rng: np.random.Generator, with_card: bool) -> Outcome:
    """Tyre and ground change the way per pulse by a percent or two, slip each lap by half of one."""
    metres = 0.12 * (1.0 + rng.normal(0.0, 0.015))
    pulses = [str(round(60.96 / metres * (1.0 + rng.normal(0.0, 0.005)))) for _ in range(int(rng.integers(1, 4)))]
    return came_of(wheel.KIND, [WHEEL_CARD] if with_card else [], {"course": "200 ft"}, laps("pulses", *pulses))


def a_walker(rng: np.random.Generator, with_card: bool) -> Outcome:
    """A walker takes another speed than the one before by a tenth or so, and each lap by some percent."""
    cards = [card(course.KIND, WALKER, {"distance": "60 m", "time": "54 s"})] if with_card else []
    speed = 60 / 54 * (1.0 + rng.normal(0.0, 0.12))
    times = [f"{60 / speed * (1.0 + rng.normal(0.0, 0.03)):.1f} s" for _ in range(int(rng.integers(1, 5)))]
    return came_of(course.KIND, cards, {"course": "60 m"}, laps("time", *times))


def a_boom(rng: np.random.Generator, with_card: bool) -> Outcome:
    """Tips within 3 % of their table and up to 3 % worn; a jug as above; a gauge as above; time to 0.2 s."""
    tips = (1.0 + rng.uniform(0.0, 0.03)) * (1.0 + rng.uniform(-0.03, 0.03, 4))
    scale, gauge = 1.0 + rng.uniform(-0.01, 0.01), rng.uniform(-1.0, 1.0)
    typed = []
    for psi in (40.0, 25.0)[: int(rng.integers(1, 3))]:
        seconds = 55.0 + rng.normal(0.0, 0.2)
        flow = 0.35 * GALLON_L * 1e3 / 60.0 * math.sqrt(psi / 40.0)
        caught = [f"{rounded(flow * tip * seconds * scale, 10.0):.0f} mL" for tip in tips]
        typed += nozzles(f"{rounded(psi + gauge, 1.0):.0f} psi", "55 s", *caught)
    return came_of(boom.KIND, [], {}, typed)


def test_of_two_hundred_honest_calibrations_at_most_four_are_asked_about() -> None:
    rng = np.random.default_rng(14)
    made = (a_meter, a_transducer, a_wheel, a_walker, a_boom)
    asked = []
    for number in range(200):
        outcome = made[number % 5](rng, bool(number // 5 % 2))
        asked += [(*outcome.questions, outcome.not_standard)] if outcome.in_doubt else []
    assert len(asked) <= 4, asked


def test_a_ratio_as_a_person_says_it() -> None:
    assert [size_of(ratio) for ratio in (1.12, 0.8, 3.785, 1 / 3.785, 100.0)] == [
        "12 % more", "20 % less", "3.8 times more", "3.8 times less", "100 times more",
    ]  # fmt: skip
    assert [is_beyond(ratio, 0.10) for ratio in (1.09, 1.11, 1 / 1.09, 1 / 1.11)] == [False, True, False, True]


@pytest.mark.parametrize("slip", [*VOLUMES, *DECIMALS], ids=lambda slip: f"{slip.ratio:.3g}")
def test_every_slip_is_named_though_the_measurement_scatters(slip: Any) -> None:
    for off in (0.97, 1.0, 1.03):
        assert slip.name in likely_slip(slip.ratio * off, (*VOLUMES, *DECIMALS))


def test_the_active_test_is_what_a_later_one_is_compared_with() -> None:
    """Half the flow of before, with tips of twice the size in the rig file: it is the test before that knows."""
    sound = came_of(boom.KIND, [], {}, nozzles("40 psi", "55 s", *GOOD))
    made = make_card("boom", RIG.name, DAY + timedelta(days=1), {}, sound.measurements)
    half = came_of(boom.KIND, [made], {}, nozzles("40 psi", "55 s", *["600 mL"] * 4))
    assert "2.0 times less than" in half.questions[0]
    twice = dataclasses.replace(RIG.nozzles, points=tuple((p, q / 2) for p, q in RIG.nozzles.points))
    session = start(boom.KIND, dataclasses.replace(RIG, nozzles=twice), [made])
    for way, fields in nozzles("40 psi", "55 s", *["600 mL"] * 4):
        save(session, way, **fields)
    assert "in the test of the card of 2026-05-02" in session.outcome().questions[0]
