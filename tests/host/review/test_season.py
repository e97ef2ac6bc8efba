"""A season in which things go wrong, and one in which nothing does, against what the simulator did."""

from dataclasses import replace

import pytest

from host.review.season import findings as kinds
from host.review.season import season_of
from tests.host.review.season_runs import Truth, day_of, season

FILLS = ((8, 20), (26, 38))


def strainer(run):
    return next((0.5 * (run - a + 1) / (b - a + 1) for a, b in FILLS if a <= run <= b), 0.0)


@pytest.fixture(scope="module")
def bad_season():
    return season(60, Truth(lambda run: 0.08 * run / 59, lambda run: -0.03 if run >= 40 else 0.0, strainer))


@pytest.fixture(scope="module")
def drifting():
    """As the bad season, but the meter goes off by 3 % between the fortieth run and the last."""
    meter = Truth(lambda run: 0.08 * run / 59, lambda run: -0.03 * max(run - 39, 0) / 20, strainer)
    return season(60, meter)


@pytest.fixture(scope="module")
def good_season():
    return season(40, Truth(), seed=900)


def unclear(found):
    return [one for one in found.findings if len(one.suspects) > 1]


def of_kind(found, kind):
    return [one for one in found.findings if one.kind == kind]


def test_wear_drift_and_strainer_are_each_found_with_their_date(bad_season):
    found = season_of(bad_season)
    assert sorted(one.kind for one in found.findings) == sorted(
        [kinds.WEAR, kinds.METER_STEP, kinds.STRAINER_FILLED, kinds.STRAINER_FILLED]
    )
    (wear,) = of_kind(found, kinds.WEAR)
    assert wear.change == pytest.approx(0.08, abs=2.58 * wear.change_u)
    (meter,) = of_kind(found, kinds.METER_STEP)
    assert meter.first_day == day_of(40)
    assert meter.change == pytest.approx(-0.03, abs=2.58 * meter.change_u)
    for one, (begin, end) in zip(of_kind(found, kinds.STRAINER_FILLED), FILLS, strict=True):
        assert one.last_day == day_of(end)
        # A strainer shows only when the bypass has nothing left to give.
        assert day_of(begin - 1) <= one.first_day <= day_of(begin + 8)
    assert day_of(40) in found.due.text
    assert any("strainer is not measured" in remark for remark in found.remarks)


def test_a_meter_that_drifts_off_is_told_from_the_wear_that_goes_on(drifting):
    found = season_of(drifting)
    (wear,) = of_kind(found, kinds.WEAR)
    assert (wear.first_day, wear.last_day) == (day_of(0), day_of(59))
    assert wear.change == pytest.approx(0.08, abs=2.58 * wear.change_u)
    (meter,) = of_kind(found, kinds.METER_DRIFT)
    assert day_of(40 - 4) <= meter.first_day <= day_of(40 + 4)
    assert meter.last_day == day_of(59)
    assert meter.change == pytest.approx(-0.03, abs=2.58 * meter.change_u)
    assert len(of_kind(found, kinds.STRAINER_FILLED)) == 2
    assert len(found.findings) == 4


def test_without_tank_balances_a_drift_that_sets_in_is_dated_and_nobodys(drifting):
    found = season_of([replace(one, meter_over_tank=None) for one in drifting])
    (drift,) = unclear(found)
    assert drift.change > 0.04
    assert day_of(40 - 4) <= drift.last_day <= day_of(40 + 4)
    assert not of_kind(found, kinds.METER_DRIFT) and not of_kind(found, kinds.WEAR)


def test_without_tank_balances_it_says_that_it_cannot_tell(bad_season):
    found = season_of([replace(one, meter_over_tank=None) for one in bad_season])
    drift, step = unclear(found)
    assert "drift" in drift.kind and "changed" in step.kind and step.first_day == day_of(40)
    assert "what would decide" in drift.sentence
    assert not of_kind(found, kinds.WEAR) and not of_kind(found, kinds.METER_STEP)
    assert any("tank left" in remark for remark in found.remarks)


def test_a_note_that_does_not_count_is_told(good_season):
    broken = replace(good_season[3], meter_over_tank=None, remark='the note "tank left" is "abc"')
    remarks = season_of([*good_season[:3], broken, *good_season[4:]]).remarks
    assert sum('note "tank left" is "abc"' in remark and " 2026, " in remark for remark in remarks) == 1
    assert not any("note " in remark and "abc" in remark for remark in season_of(good_season).remarks)


def test_nothing_is_found_where_nothing_is(good_season):
    found = season_of(good_season)
    assert found.findings == ()
    assert "not yet" in found.due.text


def test_new_nozzles_are_told_from_a_drifting_meter(good_season):
    def opened(one, run):
        steady = replace(one.steady, coefficient=one.steady.coefficient * (1.06 if run >= 20 else 1.0))
        return replace(one, steady=steady)

    found = season_of([opened(one, run) for run, one in enumerate(good_season)])
    assert [one.kind for one in found.findings] == [kinds.NOZZLE_STEP]
    assert found.findings[0].first_day == day_of(20)


def test_other_rigs_and_undated_runs_are_left_out_and_said(good_season):
    strangers = [replace(good_season[0], rig="another"), replace(good_season[0], started="")]
    found = season_of([*strangers, *good_season])
    assert found.runs == 40
    assert any("2 runs of other rigs" in remark for remark in found.remarks)


@pytest.mark.parametrize("creep", [0.0, 1e-9])
def test_runs_without_any_noise_make_no_date_beyond_the_calendar(good_season, creep):
    def copied(run):
        coefficient = good_season[0].steady.coefficient * (1.0 + creep * run)
        steady = replace(good_season[0].steady, coefficient=coefficient)
        return replace(good_season[run], steady=steady, meter_over_tank=None)

    assert "not yet" in season_of([copied(run) for run in range(40)]).due.text


def test_no_runs_at_all():
    found = season_of([])
    assert found.runs == 0
    assert found.findings == ()
    assert "not known" in found.due.text
