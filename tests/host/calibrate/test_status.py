"""How well each part of a sprayer is known, and from where."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from host.calibrate.boom import BoomCatch, Reading, catch_test
from host.calibrate.boom_card import boom_measured
from host.calibrate.cards import apply_cards, make_card
from host.calibrate.status import calibration_status
from host.rig import load_rig

EXAMPLES = Path(__file__).parents[3] / "host/rig/examples"
RIG = load_rig(EXAMPLES / "harrow-lea-pull-behind.toml")
WALKER = load_rig(EXAMPLES / "harrow-lea-walker.toml")
DAY = datetime(2026, 5, 14, 9, 15, tzinfo=UTC)
PSI_PA = 6894.757  # NIST Handbook 44, Appendix C


def known_of(rig, *cards):
    return {one.kind: one for one in calibration_status(apply_cards(rig, cards), cards)}


def test_without_cards_the_rig_files_words_are_widened_to_95_percent() -> None:
    known = known_of(RIG)
    assert list(known) == ["meter", "boom", "pressure", "wheel"]
    assert all(one.made is None for one in known.values())
    # 1.960: the normal distribution at 95 % (JCGM 100:2008, table G.1); the file says 1 %, 1 % of 100 psi, 0.5 %
    assert known["meter"].plus_minus == "± 2.0 %"
    assert known["pressure"].plus_minus == "± 2.0 psi"
    assert known["wheel"].plus_minus == "± 0.98 %"
    assert known["boom"].plus_minus == ""


def test_a_rig_without_a_wheel_has_a_pace() -> None:
    known = known_of(WALKER)
    assert list(known) == ["meter", "boom", "pressure", "course"]
    assert known["course"].plus_minus == "± 5.9 %"  # 1.960 × 3 %


def test_a_card_speaks_for_itself() -> None:
    meter = make_card("meter", RIG.name, DAY, {"factor": "451 /L", "uncertainty": "0.6 %"}, {"expanded_percent": 1.4})
    pressure = make_card(
        "pressure", RIG.name, DAY, {"span": ["0 psi", "101 psi"], "uncertainty": "1 %"}, {"expanded_kPa": 10.0}
    )
    known = known_of(RIG, meter, pressure)
    assert (known["meter"].made, known["meter"].plus_minus) == (DAY, "± 1.4 %")
    assert known["pressure"].plus_minus == f"± {10_000 / PSI_PA:.1f} psi"
    assert known["wheel"].made is None


def test_a_boom_that_was_caught() -> None:
    flow = float(RIG.nozzles.flow_m3_s(40 * PSI_PA))
    reading = Reading()
    test = catch_test([BoomCatch(40 * PSI_PA, 60.0, (flow * 60.0,) * 4)], RIG, None, reading)
    known = known_of(RIG, make_card("boom", RIG.name, DAY, {}, boom_measured(RIG, test, reading)))["boom"]
    assert known.made == DAY
    # A jug right to 1 % (rectangular) is the least of it; nobody catches to a tenth of that, nor five times worse.
    assert 1.1 < float(known.plus_minus.removeprefix("± ").removesuffix(" %")) < 5.0
    damaged = make_card("boom", RIG.name, DAY, {}, {"nozzles": 4})
    assert known_of(RIG, damaged)["boom"].plus_minus == "its card cannot be read: repeat the catch test"
