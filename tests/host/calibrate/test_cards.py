from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.calibrate.boom import BoomCatch, Reading, catch_test
from host.calibrate.boom_card import boom_measured
from host.calibrate.budget import budget_measured
from host.calibrate.cards import (
    active_cards,
    apply_cards,
    card_from_toml,
    cards_of_run,
    load_cards,
    make_card,
    save_card,
    snapshot,
)
from host.calibrate.kinds.course import course_section
from host.calibrate.kinds.meter import meter_measured, meter_section
from host.calibrate.kinds.pressure import pressure_measured, pressure_section
from host.calibrate.kinds.wheel import wheel_section
from host.calibrate.meter import MeterCatch, calibrate_meter
from host.calibrate.shared_errors import line_of
from host.calibrate.transducer import Gauge, PressurePoint, calibrate_pressure
from host.calibrate.travel import calibrate_course, calibrate_wheel
from host.calibrate.uncertainty import combine
from host.calibrate.vessels import JUG
from host.errors import UserError
from tests.host.calibrate.rigs import rig

NOW = datetime(2026, 5, 14, 9, 15, 30, 999, tzinfo=timezone(timedelta(hours=1)))
RIG = rig()


def meter_card(factor=440.0, made=NOW, name=RIG.name):
    catches = [MeterCatch(round(factor * litres), litres * 1e-3, JUG, 60.0) for litres in (2.0, 2.1, 2.2)]
    result = calibrate_meter(catches)
    return make_card("meter", name, made, meter_section(result), meter_measured(result, catches)), result


def test_each_result_comes_back_from_its_card_as_the_rig_has_it():
    card, result = meter_card()
    assert card.section.curve[0][1] == pytest.approx(result.curve[0][1], rel=1e-6)
    assert card.section.relative_uncertainty == pytest.approx(result.uncertainty.carried, rel=5e-3)

    curve = calibrate_meter([MeterCatch(900, 2.1e-3, JUG, 200.0), MeterCatch(900, 2e-3, JUG, 60.0)] * 3)
    section = make_card("meter", RIG.name, NOW, meter_section(curve), {}).section
    np.testing.assert_allclose(section.curve, curve.curve, rtol=1e-6)

    points = [PressurePoint(0, 110), PressurePoint(300e3, 470)]
    pressure = calibrate_pressure(points, RIG.pressure, 1023, Gauge())
    made = make_card("pressure", RIG.name, NOW, pressure_section(pressure), pressure_measured(pressure, points, 1023))
    np.testing.assert_allclose(made.section.pressure_pa([110, 470], 1023), [0, 300e3], atol=0.5)
    assert line_of(made.section) == line_of(pressure.sensor)
    # Zero and slope together hold what is open at the highest point, and at twice that.
    at_highest, twice = (float(made.section.uncertainty_at(pressure)) for pressure in (300e3, 600e3))
    assert 1.0 <= at_highest / pressure.uncertainty.carried < 1.1
    assert twice == pytest.approx(combine(pressure.line.line_parts(600e3)).carried, rel=5e-3)

    wheel = calibrate_wheel(60.0, [500, 501])
    section = make_card("wheel", RIG.name, NOW, wheel_section(wheel, 10), budget_measured(wheel.uncertainty)).section
    assert section.metres_per_pulse == pytest.approx(wheel.metres_per_pulse, rel=1e-6)

    course = calibrate_course(60.96, [55.0, 54.0])
    section = make_card("course", RIG.name, NOW, course_section(course), {}).section
    assert section.speed_m_s == pytest.approx(course.speed_m_s, rel=1e-6)


def test_a_boom_card_keeps_what_was_caught():
    test = catch_test([BoomCatch(250e3, 55.0, (1.1e-3, 1.2e-3, 1.15e-3, 1.18e-3))], RIG, None, Reading())
    card = make_card("boom", RIG.name, NOW, {}, boom_measured(RIG, test, Reading()))
    record = card.measurements
    assert record["catches"][0]["volumes_mL"] == [1100.0, 1200.0, 1150.0, 1180.0]
    assert card.section is None


def test_cards_are_dated_and_never_overwritten(tmp_path):
    first, second = meter_card(440)[0], meter_card(450)[0]
    a, b = save_card(first, tmp_path), save_card(second, tmp_path)
    assert (a.name, b.name) == ("2026-05-14T091530-meter.toml", "2026-05-14T091530-meter-2.toml")
    assert a.read_text() == first.toml
    assert b.read_text() == second.toml
    assert 'kind = "meter"' in first.toml
    assert "made = 2026-05-14 09:15:30+01:00" in first.toml


def test_the_newest_of_each_kind_is_active_cards(tmp_path):
    save_card(meter_card(460, NOW)[0], tmp_path)
    save_card(meter_card(430, NOW - timedelta(days=3))[0], tmp_path)
    save_card(meter_card(400, NOW + timedelta(days=3), name="Another rig")[0], tmp_path)
    save_card(meter_card(410, NOW + timedelta(days=3), name="test-boom")[0], tmp_path)  # shares the folder
    cards = load_cards(tmp_path, RIG.name)
    assert [card.made for card in cards] == sorted(card.made for card in cards)
    assert len(cards) == 2
    applied = apply_cards(RIG, cards)
    assert float(applied.meter.pulses_per_m3(10)) == pytest.approx(460e3, rel=1e-3)
    assert applied.toml == RIG.toml
    assert len(active_cards(cards)) == 1
    assert load_cards(tmp_path / "none", RIG.name) == []


def test_a_card_for_a_part_that_the_rig_does_not_have_changes_nothing():
    course = make_card("course", RIG.name, NOW, course_section(calibrate_course(60.0, [55.0])), {})
    assert apply_cards(RIG, [course]) == RIG
    bare = replace(RIG, pressure=None)
    points = [PressurePoint(0, 110), PressurePoint(300e3, 470)]
    pressure = pressure_section(calibrate_pressure(points, RIG.pressure, 1023, Gauge()))
    assert apply_cards(bare, [make_card("pressure", RIG.name, NOW, pressure, {})]).pressure is None


def test_a_run_keeps_the_cards_active_cards():
    card = meter_card()[0]
    kept = snapshot([meter_card(made=NOW - timedelta(1))[0], card])
    assert kept == [{"kind": "meter", "toml": card.toml}]
    assert cards_of_run(kept) == [card]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda text: text.replace("format = 2", "format = 9"), "has format 9"),
        (
            lambda text: text.replace('kind = "meter"', 'kind = "metre"'),
            r"is of kind metre and has a section \[meter\]",
        ),
        (lambda text: text.replace('kind = "meter"', 'kind = "x y"'), "lacks its kind"),
        (lambda text: text.replace("+01:00", ""), "lacks its kind, rig or date"),
        (lambda text: text.split("[meter]")[0], r"no section \[meter\]"),
        (lambda text: text.replace("pulses/L", "pulses/psi", 1), "meter.factor in card"),
        (lambda text: text.replace("uncertainty =", "uncertanty ="), "key meter.uncertanty in card is unknown"),
        (lambda text: text + "[", "is not valid TOML"),
        (lambda text: text.replace("[meter]", "meter = 5\n[x]"), "must be a section"),
    ],
)
def test_a_card_that_is_none(change, says):
    with pytest.raises(UserError, match=says):
        card_from_toml(change(meter_card()[0].toml), "card")


@given(st.integers(0, 400), st.text(max_size=3))
def test_no_slip_of_the_pen_breaks_the_reader(at, slip):
    text = meter_card()[0].toml
    try:
        card_from_toml(text[:at] + slip + text[at + 1 :], "card")
    except UserError as error:
        assert "card" in str(error)


def test_folders_and_cards_that_cannot_be_used(tmp_path):
    card = meter_card()[0]
    (tmp_path / "file").write_text("")
    with pytest.raises(UserError, match="cannot be written"):
        save_card(card, tmp_path / "file")
    path = save_card(card, tmp_path)
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(UserError, match=str(path)):
        load_cards(tmp_path, RIG.name)


def test_dates_of_other_zones_are_compared_as_moments():
    earlier = meter_card(470, datetime(2026, 5, 14, 8, 0, tzinfo=UTC))[0]
    later = meter_card(450, NOW)[0]  # 08:15 UTC
    assert active_cards([later, earlier]) == [later]
