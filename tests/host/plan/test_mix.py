import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.entries import WrongEntriesError
from host.errors import UserError
from host.plan.mix import label_warnings, mix
from host.plan.mix_document import mix_document
from host.plan.mix_form import Before, Sheet, Used
from host.plan.products import Dose, Product, parse_dose, parse_family, parse_strength, product_for_active
from host.rig import load_rig
from tests.host.plan.asking import METRIC, US, ask_rig

GALLON, ACRE, FOOT, LB = 3.785411784e-3, 4046.8564224, 0.3048, 0.45359237
PINT, FLUID_OUNCE = GALLON / 8, GALLON / 128
PER_1000 = FLUID_OUNCE / (1000 * FOOT**2)


def liquid(per_area, name="X", **more):
    return Product(name, Dose("liquid", "area", per_area, "fluid_ounce"), **more)


def dry(per_area, name="X", **more):
    return Product(name, Dose("dry", "area", per_area, "pound"), **more)


def test_printed_mixes():
    """Sources OKC, WAX, ALTA, ALB and MSU of tests/published/sources.toml, in this order."""
    # 3.6 pt/acre on 25 acres is 11.25 gal; at 40 GPA 3.6 pt go into each 40 gal.
    job = mix([liquid(3.6 * PINT / ACRE)], 40 * GALLON / ACRE, 40 * GALLON, 25 * ACRE)
    assert job.total.products[0] / GALLON == pytest.approx(11.25)
    assert job.loads[0].products[0] / PINT == pytest.approx(3.6)
    # 3.5 acres at 15 GPA take 52.5 gal, at 3 lb/acre 10.5 lb.
    job = mix([dry(3 * LB / ACRE)], 15 * GALLON / ACRE, 100 * GALLON, 3.5 * ACRE)
    assert (job.total.volume_m3 / GALLON, job.total.products[0] / LB) == pytest.approx((52.5, 10.5))
    # 30 acres at 40 L/acre take 1200 L.
    assert mix([dry(1e-6)], 0.040 / ACRE, 1.0, 30 * ACRE).total.volume_m3 == pytest.approx(1.2)
    # 32 oz/acre at 20 GPA: 32 oz go into 20 gal.
    job = mix([liquid(32 * FLUID_OUNCE / ACRE)], 20 * GALLON / ACRE, 20 * GALLON, None)
    assert job.loads[0].products[0] / FLUID_OUNCE == pytest.approx(32)
    # A 300 gal tank at 10 GPA covers 30 acres.
    assert mix([dry(1e-6)], 10 * GALLON / ACRE, 300 * GALLON, None).total.area_m2 / ACRE == pytest.approx(30)


@given(st.floats(10, 5e4), st.floats(0.05, 0.3), st.floats(1e-5, 1e-3), st.floats(0.001, 0.4), st.floats(0.001, 0.4))
def test_loads_add_up_to_the_job(area, tank, rate, share, other):
    job = mix([liquid(share * rate), liquid(other * rate, "Y")], rate, tank, area)
    assert sum(load.count for load in job.loads) == job.tanks
    for of in (
        lambda load: load.volume_m3,
        lambda load: load.area_m2,
        lambda load: load.products[0],
        lambda load: load.products[1],
        lambda load: load.water_m3,
    ):
        assert sum(load.count * of(load) for load in job.loads) == pytest.approx(of(job.total), rel=1e-5)
    assert all(load.volume_m3 <= tank * (1 + 1e-5) for load in job.loads)
    assert math.fsum([*job.total.products, job.total.water_m3]) == pytest.approx(job.total.volume_m3)
    assert job.total.area_m2 == pytest.approx(area)


def test_an_area_of_whole_tanks_leaves_no_part_load():
    job = mix([dry(1e-4)], 4e-5, 0.05, 3 * 0.05 / 4e-5)
    assert [load.count for load in job.loads] == [3]


def test_what_a_measured_rate_means_as_product():
    job = mix([liquid(2e-7)], 4e-5, 0.05, 1000.0)
    assert job.put_down(4.4e-5) == (pytest.approx(2.2e-7),)


@pytest.mark.parametrize(
    ("text", "form", "basis", "amount"),
    [
        ("3.6 pt/acre", "liquid", "area", 3.6 * PINT / ACRE),
        ("1.5 pt/A", "liquid", "area", 1.5 * PINT / ACRE),
        ("1 1/2 fl oz/1000 ft2", "liquid", "area", 1.5 * PER_1000),
        ("1.5 fl oz/M", "liquid", "area", 1.5 * PER_1000),
        ("3 tsp/1000 ft2", "liquid", "area", 0.5 * PER_1000),
        ("1 tbsp per 1,000 sq ft", "liquid", "area", 0.5 * PER_1000),
        ("0,5 L/ha", "liquid", "area", 0.5e-3 / 1e4),
        ("2 lb/acre", "dry", "area", 2 * LB / ACRE),
        ("20 g/ha", "dry", "area", 0.020 / 1e4),
        ("3 oz wt/1000 ft2", "dry", "area", 3 * LB / 16 / (1000 * FOOT**2)),
        ("1 qt/100 gal", "liquid", "volume", 0.0025),
        ("2 fl oz/gal", "liquid", "volume", 2 / 128),
        ("500 mL/100 L", "liquid", "volume", 0.005),
        ("0.25 % v/v", "liquid", "volume", 0.0025),
        ("2 lb/100 gal", "dry", "volume", 2 * LB / (100 * GALLON)),
        ("250 g/100 L", "dry", "volume", 2.5),
    ],
)
def test_doses_as_labels_have_them(text, form, basis, amount):
    dose = parse_dose(text, "--product")
    assert (dose.form, dose.basis) == (form, basis)
    assert dose.amount == pytest.approx(amount, rel=1e-9)


def test_active_ingredient_by_share_and_by_weight_per_volume():
    # a.i. x 100/%: 1.5 lb active per acre of a 50 % powder takes 3 lb; of 4 lb/gal 0.375 gal (arithmetic).
    active = parse_dose("1.5 lb/acre", "--product")
    powder = product_for_active(active, *parse_strength("50 %", "--active"))
    assert (powder.form, powder.amount) == ("dry", pytest.approx(3.0 * LB / ACRE))
    concentrate = product_for_active(active, *parse_strength("4 lb/gal", "--active"))
    assert (concentrate.form, concentrate.amount) == ("liquid", pytest.approx(0.375 * GALLON / ACRE))
    metric = product_for_active(parse_dose("480 g/ha", "--product"), *parse_strength("480 g/L", "--active"))
    assert metric.amount == pytest.approx(1e-3 / 1e4)
    with pytest.raises(UserError, match="by weight"):
        product_for_active(parse_dose("1 pt/acre", "--product"), *parse_strength("4 lb/gal", "--active"))


def test_several_products_go_in_in_the_usual_order():
    """Powders and granules, flowables, emulsions, solutions, adjuvants last: common practice."""
    sheet = ask_rig(
        "mix", "--area", "5000 ft2",
        "--product", "0.25 %", "--name", "Sticker", "--kind", "adjuvant",
        "--product", "1 pt/acre", "--name", "Clear", "--kind", "SL",
        "--product", "2 lb/acre", "--name", "Dust", "--kind", "WP",
        "--product", "1 qt/100 gal", "--name", "Milk", "--kind", "EC",
        "--product", "1 fl oz/1000 ft2", "--name", "Flow", "--kind", "flowable",
        "--json",
    )  # fmt: skip
    assert sheet.code == 0
    (load,) = sheet.json["loads"]
    assert [row["name"] for row in load["products"]] == ["Dust", "Flow", "Milk", "Clear", "Sticker"]
    # 5 gal of mix at 1 gal/1000 ft2: 0.25 % of it are 1.6 fl oz; 1 qt/100 gal the same.
    amounts = {row["name"]: row for row in sheet.json["products"]}
    assert amounts["Sticker"]["amount_fl_oz"] == pytest.approx(1.6)
    assert amounts["Milk"]["amount_qt"] == pytest.approx(0.05)
    assert amounts["Dust"]["amount_oz"] == pytest.approx(2 * 16 * 5000 / 43560)
    assert [step["text"][:8] for step in sheet.json["order"]][1] == "Add Dust"


def test_codes_of_labels_are_kinds():
    assert [parse_family(code, "--kind") for code in ("WP", "wdg", "sc", "EC", "SL", "bags", "Powder")] == [
        "powder", "granule", "flowable", "emulsion", "solution", "bag", "powder",
    ]  # fmt: skip
    with pytest.raises(UserError, match="--kind"):
        parse_family("dust", "--kind")


def test_limits_of_the_label():
    def warned(amount, **limits):
        return label_warnings(liquid(amount, "Clover killer", **limits), 4e-5)

    assert warned(2e-7, most=2e-7, most_per_season=5e-7) == []
    (over,) = warned(2.2e-7, most=2e-7)
    assert over == "Clover killer: 1.10 times what the label allows per application: do not spray it."
    (season,) = warned(2e-7, most_per_season=5e-7, used=4e-7)
    assert "more than the label allows per season; 50 % of this application is left" in season
    assert warned(2e-7, most_per_season=5e-7, used=3e-7) == []
    # nothing allowed at all
    assert warned(2e-7, most=0.0) == ["Clover killer: the label allows none: do not spray it."]
    assert "nothing is left" in warned(2e-7, most_per_season=0.0)[0]
    # by the last bit of a sum, no; by a little, yes
    assert warned(0.1 + 0.2, most=0.3) == [] and "more than what the label allows" in warned(0.3001, most=0.3)[0]
    # per volume, at the rate
    (per_volume,) = label_warnings(Product("X", Dose("liquid", "volume", 0.01, "percent"), most=2e-7), 4e-5)
    assert "2.00 times" in per_volume


@pytest.mark.parametrize("option", ["--most", "--season"])
def test_a_limit_of_zero_is_a_warning_and_no_traceback(option):
    answer = ask_rig("mix", "--product", "1 fl oz/1000 ft2", option, "0 fl oz/1000 ft2")
    assert answer.code == 1 and "do not spray it" in answer.out
    negative = ask_rig("mix", "--product", "1 fl oz/1000 ft2", option, "-1 fl oz/1000 ft2")
    assert negative.code == 2 and "cannot be below zero" in negative.err


def test_what_runs_put_down_before_counts_unless_it_was_typed():
    rig = load_rig(US)
    product = {"product": "2 fl oz/1000 ft2", "name": "clover KILLER", "season": "4 fl oz/1000 ft2"}
    before = Before({"clover killer": Used("liquid", 3 * PER_1000, 2, "1 January 2026")}, not_counted=2)
    sheet = Sheet({"area": "5000 ft2"}, [product])
    carried = mix_document(rig, sheet, "us", before=before)
    assert carried.level == "stop"
    texts = [message.text for block in carried.blocks() for message in getattr(block, "messages", ())]
    assert any("50 % of this application is left" in text for text in texts)
    assert "2 run files are not counted in what was used this season: see the list of runs." in texts
    assert any("2 runs put down 3.00 fl oz/1000 ft² since 1 January 2026" in text for text in texts)
    typed = mix_document(rig, Sheet({}, [product | {"used": "1 fl oz/1000 ft2"}]), "us", before=before)
    assert typed.level == "advice"  # only about files that are not counted


def test_bands_are_a_part_of_the_field():
    """Bands of 12 in on rows 36 in apart treat a third of the field (common practice)."""
    words = ("mix", "--product", "3 pt/acre", "--area", "3 acres", "--band", "12 in", "--row", "36 in", "--json")
    answer = ask_rig(*words).json
    assert answer["products"][0]["amount_pt"] == pytest.approx(3.0)
    assert answer["area_ft2"] == pytest.approx(43560)
    assert answer["field_area_ft2"] == pytest.approx(3 * 43560)
    alone = ask_rig("mix", "--product", "3 pt/acre", "--area", "3 acres", "--band", "12 in")
    assert alone.code == 2 and "--band needs --row beside it" in alone.err


def test_what_a_run_put_down():
    answer = ask_rig("mix", "--product", "2 fl oz/1000 ft2", "--measured-rate", "1.1 gal/1000 ft2", "--json").json
    assert answer["put_down"][0]["put_down_fl_oz_per_1000_ft2"] == pytest.approx(2.2)
    assert answer["put_down"][0]["of_wanted_percent"] == pytest.approx(110)
    assert ask_rig("mix", "--product", "2 fl oz/1000 ft2", "--measured-rate", "-1 GPA").code == 2


def test_warnings_about_loads_and_scales():
    large = ask_rig("mix", "--product", "1 pt/acre", "--tank", "500 gal")
    assert large.code == 1 and "A load of 500.00 gal is more than the tank holds, 25.00 gal." in large.out
    small_part = ask_rig("mix", "--product", "1 pt/acre", "--area", "26000 ft2")
    assert small_part.code == 0 and "2 equal loads of 13.00 gal are easier" in small_part.out
    light = ask_rig("mix", "--product", "20 g/ha", "--area", "200 m2", rig=METRIC)
    assert light.code == 1
    assert "0.400 g of Product: a kitchen scale with 1 g steps cannot weigh this" in light.out
    assert "20 g made up to 1 L with water, and 20.0 mL of that" in light.out
    own = ask_rig("mix", "--product", "20 g/ha", "--area", "200 m2", "--scale", "0.01 g", rig=METRIC)
    assert own.code == 0 and "0.400 g, with your scale" in own.out


MISTAKES = {
    "no product": ([], "--product is missing"),
    "product without area": (["--product", "3 pt"], '"3.6 pt/acre" for a liquid'),
    "active in the dose": (["--product", "1.5 lb ai/acre"], 'leave out "ai"'),
    "ounces": (["--product", "8 oz/acre"], "ounces of volume or of weight"),
    "imperial": (["--product", "1 imp gal/acre"], "gallons here are US ones"),
    "liquid and dry": (["--product", "3 pt/acre", "--most", "3 lb/acre"], "both as volume"),
    "no area": (["--product", "3 pt/acre", "--area", "0 ft2"], "above zero"),
    "share without %": (["--product", "3 lb/acre", "--active", "50"], 'write "50 %"'),
    "same name": (["--product", "1 pt/acre", "--name", "A", "--product", "1 pt/acre", "--name", "a"], "the same name"),
    "too much": (["--product", "99 %", "--product", "2 %"], "more than the whole rate"),
    "beyond any label": (["--product", "50000 gal/acre"], "beyond any label"),
    "empty area": (["--product", "3 pt/acre", "--area", ""], "--area is empty"),
    "empty tank": (["--product", "3 pt/acre", "--tank", ""], "--tank is empty"),
    "empty rate": (["--product", "3 pt/acre", "--rate", ""], "--rate is empty"),
    "empty limit": (["--product", "3 pt/acre", "--most", ""], "--most is empty"),
    "second product": (["--product", "3 pt/acre", "--product", "3 pt"], "--product of product 2"),
    "option first": (["--most", "3 pt/acre", "--product", "3 pt/acre"], "give --product before it"),
    "option twice": (["--product", "3 pt/acre", "--most", "3 pt/acre", "--most", "4 pt/acre"], "twice"),
}


@pytest.mark.parametrize("name", MISTAKES)
def test_each_mistake_gets_a_message_and_no_sheet(name):
    words, says = MISTAKES[name]
    answer = ask_rig("mix", *words)
    assert (answer.code, answer.out) == (2, "")
    assert says in answer.err


def test_mistakes_of_the_second_product_are_told_apart_on_the_page():
    with pytest.raises(WrongEntriesError) as caught:
        mix_document(load_rig(US), Sheet({"area": "x"}, [{"product": "1 pt/acre"}, {"product": "3"}]), "us")
    assert caught.value.sentences.keys() == {"area", "product 2"}


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: mix([liquid(0.0)], 4e-5, 0.05, 10.0), "amount of X is not above zero"),
        (lambda: mix([liquid(5e-5)], 4e-5, 0.05, 10.0), "more than the whole rate"),
        (lambda: mix([dry(1.0)], 4e-5, 0.05, -10.0), "area is not above zero"),
        (lambda: mix([dry(1e-4)], 4e-5, 0.05, 1e-4), "hardly a drop of mix"),
        (lambda: mix([dry(1e-4)], 4e-5, 0.05, 1e8), "over 1000 loads"),
        (lambda: parse_strength("0 %", "--active"), "--active"),
        (lambda: parse_strength("150 %", "--active"), "--active"),
    ],
)
def test_what_cannot_be_mixed(call, says):
    with pytest.raises(UserError, match=says):
        call()
