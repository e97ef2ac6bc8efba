"""Changes weighed against all that a season has seen, and single runs that stand out."""

import math
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from host.calibrate.uncertainty import student_factor
from host.review.card_marks import CardMark
from host.review.season import findings as kinds
from host.review.season import season_of
from host.review.season.candidates import Candidates
from host.review.season.changes import Change
from host.review.season.observations import observed
from host.review.season.search import Explained, effects_of
from host.review.season.weighing import weigh
from host.units import PSI_PA
from tests.bench.bench_season import AT, PLANTS, drawn
from tests.host.review.season_runs import Truth, day_of, season


@pytest.fixture(scope="module")
def digest():
    return season(1, Truth())[0]


def made(run, days=1):
    """Noon of a day after a run."""
    return f"{day_of(run)[:8]}{int(day_of(run)[8:]) + days:02d}T12:00:00+00:00"


def test_a_meter_step_that_its_balances_show_is_named_with_its_odds(digest):
    (finding,) = season_of(drawn(digest, 3, "meter - 5 %")).findings
    assert (finding.kind, finding.first_day, finding.suspects) == (kinds.METER_STEP, day_of(AT), ("meter",))
    assert "it is the meter (odds " in finding.sentence and " : 1)" in finding.sentence


def test_few_balances_leave_it_open_and_say_what_would_decide(digest):
    runs = drawn(digest, 3, "meter - 5 %")
    runs = [one if run < AT + 1 else replace(one, meter_over_tank=None) for run, one in enumerate(runs)]
    seen = observed(runs, ())
    weighed = weigh(Explained(seen, (), 0.0), Change("meter", AT, AT), -0.03, [False] * len(runs))
    assert len(weighed.suspects) > 1 and "meter" in weighed.suspects
    assert "more balance" in weighed.decides and "catch test" in weighed.decides


def test_without_balances_two_catch_tests_tell_meter_from_nozzles(digest):
    value = -16.0
    runs = [replace(one, meter_over_tank=None) for one in drawn(digest, 4, "meter - 5 %")]
    assert len(season_of(runs).findings[0].suspects) > 1
    cards = [CardMark("boom", made(run), value, 0.007, 0.02) for run in (2, AT + 3)]
    (finding,) = season_of(runs, cards).findings
    assert "nozzles" not in finding.suspects
    moved = [cards[0], replace(cards[1], value=value - 0.05)]
    (finding,) = season_of(runs, moved).findings
    assert finding.suspects == ("nozzles",)


def test_a_calibration_after_the_change_leaves_nothing_due(digest):
    runs = drawn(digest, 4, "tips + 12 %")
    assert "do a catch test now" in season_of(runs).due.text
    before, after = (CardMark("boom", made(run), value, 0.007, 0.02) for run, value in ((2, -16.0), (AT + 2, -15.887)))
    assert "catch test of" in season_of(runs, [before]).due.text
    assert season_of(runs, [before, after]).due.text.startswith("not yet")


def test_a_card_that_is_taken_up_moves_nothing(digest):
    runs = drawn(digest, 9, "nothing")
    late = [
        replace(
            one,
            meter_per_m3=one.meter_per_m3 * 1.1,
            steady=replace(one.steady, coefficient=one.steady.coefficient / 1.1),
            meter_over_tank=one.meter_over_tank / 1.1,
            calibration="another",
        )
        for one in runs[AT:]
    ]
    found = season_of([*runs[:AT], *late])
    assert not found.findings
    assert any("under the newest run's" in remark for remark in found.remarks)


def test_a_zero_that_moves_is_the_transducer_where_the_pressure_varies(digest):
    (finding,) = season_of(drawn(digest, 1, "zero + 1.5 psi, two pressures")).findings
    assert (finding.kind, finding.suspects) == (kinds.ZERO_STEP, ("transducer",))
    assert finding.zero_pa[0] == pytest.approx(1.5 * PSI_PA, abs=3 * finding.zero_pa[1])


def test_the_transducer_read_with_the_pump_off_tells_it_from_the_nozzles(digest):
    runs = drawn(digest, 2, "meter - 5 %")
    runs = [replace(one, meter_over_tank=None, pump_off_pa=0.0) for one in runs]
    assert "transducer" not in season_of(runs).findings[0].suspects
    moved = [replace(one, pump_off_pa=3.8 * PSI_PA * (run >= AT)) for run, one in enumerate(runs)]
    assert season_of(moved).findings[0].suspects == ("transducer",)


def test_one_clogged_run_is_one_finding_with_what_its_review_found(digest):
    runs = drawn(digest, 5, "one clogged run")
    runs[AT] = replace(runs[AT], fault_kinds=("clog",))
    found = season_of(runs)
    (finding,) = found.findings
    assert (finding.kind, finding.first_day) == (kinds.LONE_RUN, day_of(AT))
    assert "found a clog" in finding.sentence
    assert finding.change == pytest.approx(-0.10, abs=student_factor(0.999, 30) * finding.change_u)
    assert found.coefficient.lone == (AT,)


def test_an_untold_refill_is_asked_about_with_its_volume(digest):
    (finding,) = season_of(drawn(digest, 6, "one refill not recorded")).findings
    assert finding.kind == kinds.LONE_BALANCE
    assert "refill of about" in finding.sentence and "gal" in finding.sentence
    assert finding.missing_m3 == pytest.approx(digest.volume_m3 / 2, rel=0.1)


@pytest.mark.parametrize("plant", [plant for plant, (_, expected) in PLANTS.items() if not expected])
def test_nothing_is_accused_where_nothing_happened(digest, plant):
    assert season_of(drawn(digest, 11, plant)).findings == ()


@pytest.mark.parametrize("factor", [0.2, 0.5, 3.0])
def test_a_change_is_one_finding_however_large(digest, factor):
    """Most of the boom shut, or tips of another size: no row of smaller changes, and no traceback."""
    runs = drawn(digest, 3, "nothing")
    late = [replace(one, steady=replace(one.steady, coefficient=one.steady.coefficient * factor)) for one in runs[AT:]]
    (finding,) = season_of([*runs[:AT], *late]).findings
    assert (finding.kind, finding.first_day) == (kinds.NOZZLE_STEP, day_of(AT))
    assert finding.change == pytest.approx(factor - 1, abs=3 * finding.change_u)


def test_two_drifts_that_overlap_lend_each_other_their_uncertainty(digest):
    """Nozzles wear by 8 % while the meter loses 4 % from run 30 on: what one of them takes, the other one lacks."""
    wear = [math.log1p(0.08 * run / 59) for run in range(60)]
    lost = [math.log(0.96) * max(run - 30, 0) / 29 for run in range(60)]
    runs = [
        replace(
            one,
            steady=replace(one.steady, coefficient=one.steady.coefficient * math.exp(wear[run] + lost[run])),
            meter_over_tank=one.meter_over_tank * math.exp(lost[run]),
        )
        for run, one in enumerate(drawn(digest, 21, "nothing"))
    ]
    nozzles, meter = season_of(runs).findings
    assert (nozzles.kind, meter.kind) == (kinds.WEAR, kinds.METER_DRIFT)
    assert nozzles.change_u > 0.003 and nozzles.change == pytest.approx(0.08, abs=2.58 * nozzles.change_u)
    assert meter.change == pytest.approx(-0.04, abs=2.58 * meter.change_u)


def test_a_change_that_may_be_the_meters_asks_for_a_catch_test_by_what_the_meter_claims(digest):
    runs = [replace(one, meter_over_tank=None) for one in drawn(digest, 3, "meter - 5 %")]
    (finding,) = season_of(runs).findings
    assert len(finding.suspects) > 1
    assert "more than the 2.0 % to which the meter is known" in season_of(runs).due.text


@pytest.mark.parametrize("at", range(5, 55, 10))
def test_a_step_is_no_lone_run(digest, at):
    runs = drawn(digest, at, "nothing")
    steps = [replace(one, steady=replace(one.steady, coefficient=one.steady.coefficient * 1.1)) for one in runs[at:]]
    (finding,) = season_of([*runs[:at], *steps]).findings
    assert (finding.kind, finding.first_day) == (kinds.NOZZLE_STEP, day_of(at))


def test_a_rig_without_a_transducer_has_its_balances_alone(digest):
    runs = [replace(one, steady=None) for one in drawn(digest, 3, "meter - 5 %")]
    found = season_of(runs)
    (finding,) = found.findings
    assert finding.first_day == day_of(AT) and "calibrating the meter would decide" in finding.sentence
    assert found.due.text.startswith("not known")


def test_a_strainer_and_a_hand_on_the_knob_are_weighed_by_the_course_of_the_pressure(digest):
    (finding,) = season_of(drawn(digest, 12, "strainer before the transducer")).findings
    assert finding.kind == kinds.STRAINER_FILLED and finding.suspects[0] == "strainer"
    assert " : 1 by the course of the pressure alone)" in finding.sentence
    turned = season_of(drawn(digest, 12, "knob turned slowly, transducer 1 psi high"))
    assert any("the knob, or a pump or battery" in one and " : 1 by its course" in one for one in turned.remarks)


def test_each_set_of_tips_has_a_wear_of_its_own(digest):
    old, change, new = season_of(drawn(digest, 11, "wear, new tips, wear")).findings
    assert [one.kind for one in (old, change, new)] == [kinds.WEAR, kinds.NOZZLE_STEP, kinds.WEAR]
    assert (old.last_day, change.first_day, new.first_day) == (day_of(AT - 1), day_of(AT), day_of(AT))
    for finding, size in ((old, 0.08), (change, 1 / 1.08 - 1), (new, 0.06)):
        assert abs(finding.change - size) <= 3 * finding.change_u


def test_candidates_by_running_sums_are_their_columns_written_out(digest):
    seen = observed(drawn(digest, 12, "zero + 1.5 psi, two pressures"), [CardMark("meter", made(7), 0.01, 0.004, 0.01)])
    forms = [(0, False), (0, True), (1, False), (1, True), (2, False), (2, True), (3, False), (3, True)]
    changes = [
        Change(cause, first, last if power or back else first, power, back)
        for cause in seen.causes
        for power, back in forms
        for first, last in ((0, 60), (3, 9), (20, 21), (40, 60))
    ]
    some = Candidates.of(seen, changes)
    columns = effects_of(changes, seen) / seen.u[:, None]
    rows = np.random.default_rng(1).normal(size=(3, len(seen.y)))
    np.testing.assert_allclose(some.onto(rows), rows @ columns, rtol=1e-7, atol=1e-7)
    np.testing.assert_allclose(some.own, (columns**2).sum(axis=0), rtol=1e-9, atol=1e-9)
    assert [some.change(at) for at in range(len(some))] == changes


def test_a_winter_in_the_shed_is_no_wear(digest):
    """Tips wear by what they spray: 4 % before a pause of 200 days and 4 % after it are one even wear, and no step."""
    runs = []
    for run, one in enumerate(drawn(digest, 8, "nothing")):
        started = datetime.fromisoformat(one.started) + timedelta(days=200 * (run >= AT))
        steady = replace(one.steady, coefficient=one.steady.coefficient * (1 + 0.08 * run / 59))
        runs.append(replace(one, started=started.isoformat(), steady=steady))
    (finding,) = season_of(runs).findings
    assert finding.kind == kinds.WEAR and finding.change == pytest.approx(0.08, abs=2.58 * finding.change_u)


def test_a_few_runs_are_too_few_to_see_a_change(digest):
    assert "too few to see a change" in season_of(drawn(digest, 8, "nothing")[:5]).due.text


@pytest.mark.parametrize("kind", ["meter", "boom"])
def test_a_card_that_the_runs_contradict_is_asked_about(digest, kind):
    runs = drawn(digest, 14, "nothing")
    good = [CardMark(kind, made(run), -16.0, 0.005, 0.02) for run in (2, AT + 1)]
    assert "is wrong" not in season_of(runs, good).due.text
    wrong = [good[0], replace(good[1], value=-16.0 + math.log(1.05))]
    assert "5.0 % more than that of 2026-04-08, and the runs show no such change" in season_of(runs, wrong).due.text
    assert season_of(runs, wrong).findings == ()  # a card that is wrong is no change of what it is the card of
    late = [good[0], CardMark(kind, made(58), -16.0 + math.log(1.05), 0.005, 0.02)]
    assert "is wrong" not in season_of(runs, late).due.text  # one run since: it may have changed


def test_cards_without_runs_are_no_season():
    found = season_of([], [CardMark("boom", made(2), -16.0, 0.007, 0.02)])
    assert found.runs == 0 and found.findings == ()
