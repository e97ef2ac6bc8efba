import itertools
import math

import pytest

from host.errors import UserError
from host.plan.pump import AGITATION, MARGIN, Duty, enough_up_to, judge, pump_need
from host.plan.rate import Boom
from host.rig import Pump, rig_from_toml
from tests.host.calibrate.rigs import FOUR_NOZZLES, rig
from tests.host.plan.asking import METRIC, ask, ask_rig

GALLON, PSI = 3.785411784e-3, 6894.757293168361
GPM = GALLON / 60
RIG = rig()


def duty(agitation, gravity=1.0, margin=MARGIN):
    return Duty(Boom(RIG.nozzles, RIG.swath_m, gravity), RIG.tank.volume_m3, agitation, margin)


def test_three_nozzles_and_a_nine_gallon_tank():
    """Common practice: 0.49 gpm each; 0.45 gpm for a solution, 1.125 for a suspension, 2.595 gpm in all."""
    solution = pump_need(3, 0.49 * GPM, 9 * GALLON, AGITATION["solution"])
    suspension = pump_need(3, 0.49 * GPM, 9 * GALLON, AGITATION["suspension"])
    assert solution.agitation_m3_s / GPM == pytest.approx(0.45)
    assert suspension.agitation_m3_s / GPM == pytest.approx(1.125)
    assert suspension.need_m3_s / GPM == pytest.approx(2.595)


def test_pump_with_its_margin():
    """20 % to spare: Grisso, Virginia Cooperative Extension 442-452; 18 nozzles and 200 gal chosen here."""
    assert MARGIN == 0.20
    need = pump_need(18, 0.4 * GPM, 200 * GALLON, AGITATION["suspension"], MARGIN)
    assert need.with_margin_m3_s / GPM == pytest.approx(38.64)


def test_the_verdict_on_a_straight_line():
    # The pump gives 4 gpm x (1 - P/70 psi); four nozzles 1.4 gpm at 40 psi; agitation 1.25 or 3.125 gpm.
    assert judge(RIG.pump, duty(0.0), 40 * PSI) == "enough"  # 1.714 of 1.68 with margin
    assert judge(RIG.pump, duty(0.0), 42 * PSI) == "tight"  # 1.6 of 1.435
    assert judge(RIG.pump, duty(0.05), 40 * PSI) == "no agitation"
    assert judge(RIG.pump, duty(0.05), 60 * PSI) == "too small"  # 0.571 of 1.715
    assert judge(None, duty(0.05), 40 * PSI) == "unknown"
    heavier = duty(0.05, gravity=1.28).need(40 * PSI)
    assert heavier.nozzles_m3_s == pytest.approx(1.4 * GPM / math.sqrt(1.28))


def test_a_verdict_at_its_limit_does_not_hang_on_the_last_bit():
    need = duty(0.05).need(40 * PSI)
    for flow, verdict in (
        (need.with_margin_m3_s, "enough"),
        (need.need_m3_s, "tight"),
        (need.nozzles_m3_s, "no agitation"),
    ):
        for hair in (math.nextafter(flow, 0), flow, math.nextafter(flow, 1)):
            assert judge(Pump(((0.0, hair), (100 * PSI, hair))), duty(0.05), 40 * PSI) == verdict


def test_a_pressure_switch_is_no_zero_of_the_curve():
    """The plate says 3 gpm open flow and 55 psi; a line through zero at 55 would give 1.09 gpm at 35 psi."""
    plate = Pump(((0.0, 3 * GPM),), switch_pressure_pa=55 * PSI)
    assert judge(plate, duty(0.0), 35 * PSI) == "unknown"
    assert judge(plate, duty(0.0), 55 * PSI) == "switched off"
    # Under pressure no pump gives more than without.
    assert judge(Pump(((0.0, 1 * GPM),)), duty(0.0), 40 * PSI) == "too small"


def test_how_far_the_pump_reaches():
    pump = Pump(((0.0, 5 * GPM), (100 * PSI, 3 * GPM)))
    reach = enough_up_to(pump, duty(0.05))
    assert judge(pump, duty(0.05), reach * 0.999) == "enough"
    assert judge(pump, duty(0.05), reach * 1.001) != "enough"
    assert enough_up_to(Pump(((0.0, 9 * GPM), (50 * PSI, 8 * GPM))), duty(0.05)) == pytest.approx(50 * PSI)
    assert enough_up_to(Pump(((0.0, 0.1 * GPM), (50 * PSI, 0.0))), duty(0.05)) is None


def changed(tmp_path, pump):
    file = tmp_path / "rig.toml"
    head, rest = FOUR_NOZZLES.format(nozzles=4).split("[pump]")
    file.write_text(f"{head}{pump}[boom]{rest.split('[boom]')[1]}")
    return ["--rig", str(file), "--cards", str(tmp_path)]


@pytest.mark.parametrize(
    ("pump", "verdict", "code", "says"),
    [
        ("", "unknown", 0, "no [pump]"),
        ('[pump]\nopen_flow = "3 gpm"\nswitch_pressure = "55 psi"\n', "unknown", 0, "where a pressure switch opens"),
        ('[pump]\nopen_flow = "9 gpm"\nshutoff_pressure = "90 psi"\n', "tight", 1, "A straight line"),
        ('[pump]\npoints = [["0 psi", "9 gpm"], ["60 psi", "8 gpm"]]\n', "enough", 0, "big enough"),
        ('[pump]\npoints = [["0 psi", "9 gpm"]]\nswitch_pressure = "35 psi"\n', "switched off", 1, "switch"),
        ('[pump]\npoints = [["0 psi", "9 gpm"], ["30 psi", "8 gpm"]]\n', "unknown", 1, "table ends at 30.0 psi"),
    ],
)  # fmt: skip
def test_what_is_said_of_each_kind_of_pump(tmp_path, pump, verdict, code, says):
    words = ["plan", "pump", "--pressure", "40 psi", *changed(tmp_path, pump)]
    answer = ask(*words, "--json")
    assert (answer.code, answer.json["verdict"]) == (code, verdict)
    assert says in ask(*words).out


def test_the_mix_is_said_in_words_that_people_use():
    agitation = {
        mix: ask_rig("plan", "pump", "--mix", mix, "--json").json["agitation_gal_per_min"]
        for mix in ("suspension", "WP", "granules", "flowable", "solution", "EC", "SL", "adjuvant")
    }
    assert [agitation[mix] for mix in ("suspension", "WP", "granules", "flowable")] == [pytest.approx(3.125)] * 4
    assert [agitation[mix] for mix in ("solution", "EC", "SL", "adjuvant")] == [pytest.approx(1.25)] * 4
    wrong = ask_rig("plan", "pump", "--mix", "soup")
    assert wrong.code == 2 and "or the code on the label" in wrong.err
    for text in ("5 %", "5 %/min", "0.05"):
        given = ask_rig("plan", "pump", "--agitation", text, "--json").json
        assert given["agitation_gal_per_min"] == pytest.approx(1.25), text


def test_need_and_curve_stand_in_the_numbers_and_in_the_plot():
    rows = ask_rig("plan", "pump", "--json").json["curve"]
    assert rows[0]["pump_gal_per_min"] == pytest.approx(7.4)
    assert all(later["need_gal_per_min"] > row["need_gal_per_min"] for row, later in itertools.pairwise(rows))
    metric = ask_rig("plan", "pump", "--json", rig=METRIC).json
    assert metric["pump_L_per_min"] == pytest.approx(15.0)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: pump_need(3, 0.0, 1.0, 0.05), "nozzle flow is not above zero"),
        (lambda: pump_need(3, 1e-5, -1.0, 0.05), "tank volume is not above zero"),
        (lambda: pump_need(3, 1e-5, 1.0, 5.0), "agitation must be"),
        (lambda: pump_need(3, 1e-5, 1.0, 0.5, 9.0), "margin must be"),
    ],
)
def test_what_cannot_be_judged(call, says):
    with pytest.raises(UserError, match=says):
        call()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--density", "heavy"], "--density is"),
        (["--density", "9"], "which no spray has"),
        (["--pressure", "-5 psi"], "above zero"),
        (["--pressure", ""], "--pressure is empty"),
        (["--agitation", "5"], 'write "5 %"'),
        (["--margin", "900 %"], "give 0 to 500 %"),
        (["--agitation", ""], "--agitation is empty"),
    ],
)
def test_mistakes_name_the_option(words, says):
    answer = ask_rig("plan", "pump", *words)
    assert (answer.code, answer.out) == (2, "")
    assert says in answer.err


def test_a_rig_without_a_range_is_judged_where_its_tips_are_stated(tmp_path):
    file = tmp_path / "rig.toml"
    file.write_text(FOUR_NOZZLES.format(nozzles=4).replace("range =", "# "))
    nozzles = rig_from_toml(file.read_text()).nozzles
    answer = ask("plan", "pump", "--rig", str(file), "--cards", str(tmp_path), "--json")
    assert answer.json["pressure_psi"] == pytest.approx(nozzles.reference_pressure_pa / 6894.757, rel=1e-6)
