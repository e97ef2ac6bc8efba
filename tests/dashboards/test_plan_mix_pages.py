"""Plan and Mix filled in on a phone, with US and metric rigs: against published tables and the commands."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from dashboards.ui.unit_field import with_unit
from host.mix_sheet import sheet_from_toml
from host.plan.fields import JOB, PRODUCT, PUMP, RATE, REFILL, TIPS, UNIT_CHOICES
from host.plan.products import parse_dose, parse_strength
from host.plan.sheet_file import kept_sheets
from host.unit_text import parse_quantity
from tests.dashboards.calibrating import fill, wrong
from tests.dashboards.processes import Standing, wait_until
from tests.dashboards.walking import RIG
from tests.dashboards.writing import begin
from tests.host.plan.asking import ask_rig

pytestmark = pytest.mark.browser

Phone = Callable[..., Any]
WALKER = RIG.with_name("harrow-lea-walker.toml")
NINE_GALLONS = """
name = "Harrow Lea nine gallons"
units = "us"
[tank]
volume = "9 gal"
[pump]
open_flow = "5 gpm"
shutoff_pressure = "120 psi"
[boom]
nozzles = 3
spacing = "20 in"
[nozzle]
flow = "0.49 gpm"
at = "40 psi"
[meter]
factor = "450 pulses/L"
[wheel]
circumference = "1.20 m"
pulses_per_turn = 10
[target]
rate = "1.0 gal/1000 ft2"
"""


def open_page(phone: Phone, standing: Standing, rig_toml: str, path: str) -> Any:
    """A page for that rig; nothing is being recorded."""
    begin(standing.next_run(), rig_toml).flush()
    page = phone("about:blank")
    page.goto(standing.server.address + path)
    page.wait_for_selector("main.sheet .field")
    return page


def shown(page: Any, where: str, *texts: str) -> None:
    """All of that stands there, and nothing has to be moved sideways to be read."""
    for text in texts:
        wait_until(lambda text=text: text in page.inner_text(where), f"{text} in {page.inner_text(where)}")  # type: ignore[misc]
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def choose(page: Any, question: str) -> str:
    """Turn to a question; where its parts stand."""
    shown_part = "[...document.querySelectorAll('main.sheet section.halves')].map(part => part.id).join()"
    before = page.evaluate(shown_part)
    page.click(f".chips label:has-text('{question}')")
    wait_until(lambda: page.evaluate(shown_part) != before, "its parts in place of the other question's")
    return "main.sheet section.halves:visible"


def more(page: Any, where: str = "main.sheet") -> None:
    """Open what is folded away of the forms."""
    closed = page.locator(f"{where} details.fold:not([open]) > summary:visible")
    while closed.count():
        closed.first.click()


def figures(page: Any, where: str) -> set[tuple[str, ...]]:
    """Labels and values."""
    pairs = page.eval_on_selector_all(
        f"{where} .figures-list > div",
        "all => all.map(each => [each.querySelector('dt').textContent, each.querySelector('dd').textContent])",
    )
    return set(map(tuple, pairs))


def printed_figures(text: str) -> set[tuple[str, ...]]:
    """The same from what a command prints: label, two blanks or more, value."""
    rows = (tuple(re.split(r"  +", line.strip(), maxsplit=1)) for line in text.splitlines())
    return {row for row in rows if len(row) == 2}


def same_as_command(page: Any, where: str, *words: str, rig: str) -> None:
    """The page shows the answer and every figure that the command prints."""
    command = ask_rig(*words, rig=rig)
    answer = command.out.splitlines()[1].removeprefix("! ")
    shown(page, where, answer)
    on_page = figures(page, where)
    assert on_page <= printed_figures(command.out)
    assert len(on_page) > 4


def test_plan_in_us_units(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, RIG.read_text(encoding="utf-8"), "/plan")
    more(page)
    fill(page, speed="30 psi", density="3")
    page.click("#plan-rate-go")
    wrong(page, "speed", "which is not a speed")
    wrong(page, "density", "which no spray has")
    fill(page, speed="2.5", density="")
    page.click("#plan-rate-go")
    # gal/1000 ft² = 136 × gal/min of one nozzle / (mph × spacing in inches): turf bulletins; 136.36 unrounded.
    shown(page, "#plan-rate-result", f"{136.36 * 0.35 / (2.5 * 20):.2f} gal/1000 ft²", "0.350 gal/min")
    same_as_command(
        page, "#plan-rate-result", "plan", "rate", "--speed", "2.5 mph", "--pressure", "40 psi", rig=str(RIG)
    )
    fill(page, pressure="", rate="1.2", density="10.65")
    page.click("#plan-rate-go")
    words = ("plan", "rate", "--speed", "2.5 mph", "--rate", "1.2 gal/1000 ft2", "--density", "10.65 lb/gal")
    same_as_command(page, "#plan-rate-result", *words, rig=str(RIG))


def test_the_beat_to_walk_to_starts_and_stops(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, RIG.read_text(encoding="utf-8"), "/plan")
    fill(page, speed="2.5")
    page.click("#plan-rate-go")
    # Steps of 30 in at 2.5 mph, 220 ft a minute, are 88 a minute.
    page.wait_for_selector(".beats[data-beats^='88.0']")
    page.click(".beats")
    page.wait_for_selector(".beats[aria-pressed=true]:has-text('Stop the beat')")
    page.click(".beats")
    page.wait_for_selector(".beats[aria-pressed=false]:has-text('Sound the beat')")


def test_plan_in_metric_units(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, WALKER.read_text(encoding="utf-8"), "/plan")
    fill(page, speed="4,0", pressure="2.0")
    page.click("#plan-rate-go")
    # L/ha = 600 × L/min of one nozzle / (km/h × spacing in m): makers' catalogues, common practice.
    shown(page, "#plan-rate-result", f"{600 * 0.98 / (4 * 0.5):.0f} L/ha", "L/100 m²")
    more(page)
    fill(page, nozzle_flow="1.2")
    page.click("#plan-rate-go")
    wrong(page, "nozzle_flow", "two")
    where = choose(page, "Pump")
    page.click("#plan-pump-go")
    shown(page, where, "The pump is big enough, with the margin.")
    same_as_command(page, "#plan-pump-result", "plan", "pump", rig=str(WALKER))


def test_pump_of_a_nine_gallon_tank(standing: Standing, phone: Phone) -> None:
    """9 gal, three nozzles of 0.49 gal/min: 0.45 or 1.125 gal/min of agitation, 2.595 in all. Common practice."""
    page = open_page(phone, standing, NINE_GALLONS, "/plan")
    choose(page, "Pump")
    more(page)
    fill(page, pressure="40", margin="900")
    page.click("#plan-pump-go")
    wrong(page, "margin", "give 0 to 500 %")
    fill(page, margin="")
    page.click(".chips label:has-text('dissolves'):visible")
    shown(page, "#plan-pump-result", "0.450 gal/min", "1.920 gal/min")
    page.click(".chips label:has-text('granules'):visible")
    shown(page, "#plan-pump-result", "1.125 gal/min", "2.595 gal/min", "The pump is big enough")


def test_tips_and_the_rate_of_a_refill(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, RIG.read_text(encoding="utf-8"), "/plan")
    choose(page, "Which tips")
    fill(page, speed="3")
    page.click("#plan-tips-go")
    same_as_command(page, "#plan-tips-result", "plan", "tips", "--speed", "3 mph", rig=str(RIG))
    shown(page, "#plan-tips-result", "05 flat fan", "1.03 times too small")
    choose(page, "Rate by refill")
    fill(page, volume="3.2", area="60 x 45")
    page.click("#plan-refill-go")
    # 3.2 gal on 2,700 ft² (arithmetic)
    shown(page, "#plan-refill-result", f"{3200 / 2700:.2f} gal/1000 ft², 19 % over the target.")


@pytest.mark.parametrize("light", ["light", "dark"])
def test_plot_can_be_read_on_a_phone(standing: Standing, phone: Phone, light: str) -> None:
    page = open_page(phone, standing, RIG.read_text(encoding="utf-8"), "/plan")
    page.emulate_media(color_scheme=light)
    page.wait_for_selector(".plot text")
    texts = page.eval_on_selector_all(
        ".plot text", "all => all.map(one => [one.textContent, parseFloat(getComputedStyle(one).fontSize)])"
    )
    assert min(size for _, size in texts) >= 12
    # The axes with their units, and each line's pressure at its end.
    assert {"Speed, mph", "Rate, gal/1000 ft²", "15.0 psi", "60.0 psi", "target"} <= {text for text, _ in texts}
    # Lines of the grid stay behind the curves: a third of their strength or less.
    grid = page.eval_on_selector_all(
        ".plot .gridlayer path", "all => all.map(one => parseFloat(getComputedStyle(one).strokeOpacity))"
    )
    assert grid and max(grid) <= 0.35
    page.click("#plan-rate-result summary")
    heads = page.eval_on_selector_all("#plan-rate-result thead th", "all => all.map(one => one.textContent)")
    assert heads[0] == "Pressure, psi" and len(heads) == 6


def test_mix_in_us_units(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, RIG.read_text(encoding="utf-8"), "/mix")
    more(page)
    entries = {"product": "2 furlong", "area": "0", "rate": "-1", "tank": "25 psi", "active": "150"}
    limits = {"most": "-1", "season": "50 %", "used": "x", "measured_rate": "0"}
    fill(page, **(entries | limits))
    page.click("#mix-go")
    for name in (*entries, *limits):
        if name not in ("most", "season", "used"):  # without a dose it is not known what these are of
            wrong(page, name, '"')
    assert page.inner_text("#mix-sheet") == ""
    entries = {"product": "2", "area": "12,000", "rate": "", "tank": "", "active": "50"}
    fill(page, **(entries | limits))
    page.click("#mix-go")
    for name in ("most", "season", "used"):
        wrong(page, name, '"')
    fill(page, **(entries | {"most": "3", "season": "6", "used": "4"}), measured_rate="1.1")
    page.click("#mix-go")
    # 2 fl oz of active ingredient at half strength are 4 fl oz of product, on twelve thousand square feet 48.
    shown(page, "#mix-sheet", "48.0 fl oz", "12,000 ft²", "The label is the law", "110 %")
    shown(page, "#mix-sheet", "1.33 times what the label allows per application: do not spray it.")
    # 4 used before and 4 now are 8, of 6 that are allowed.
    shown(page, "#mix-sheet", "50 % of this application is left")


def test_mix_in_metric_units_and_dry(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, WALKER.read_text(encoding="utf-8"), "/mix")
    more(page)
    fill(page, product="1.5 kg/ha", most="2 L/ha", area="2500")
    page.click("#mix-go")
    wrong(page, "most", "give both as volume or both as weight")
    fill(page, most="2 kg/ha")
    page.click("#mix-go")
    # 4 L/100 m² on 2500 m² are 100 L: two tanks of 50 L with 187.5 g each.
    shown(page, "#mix-sheet", "Full load, 50.0 L, 2 times", "188 g", "0.376 kg of product")
    words = ("mix", "--product", "1.5 kg/ha", "--area", "2500 m2", "--most", "2 kg/ha")
    same_as_command(page, "#mix-sheet", *words, rig=str(WALKER))


def test_several_products(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, RIG.read_text(encoding="utf-8"), "/mix")
    fill(page, product="3 pt/acre", name="Clover killer", area="1/2 acre")
    page.click("#mix-add")
    second = "#mix-product-2-part"
    page.wait_for_selector(f"{second} [data-entry=product] input:visible")
    page.fill(f"{second} [data-entry=name] input:visible", "Sticker")
    page.click("#mix-go")
    page.wait_for_selector(f"{second} [data-entry=product] .wrong:visible")
    page.fill(f"{second} [data-entry=product] input:visible", "0.25 %")
    page.click("#mix-go")
    # 43.56 gal/acre on half an acre are 21.78 gal, a quarter of a hundredth of it 6.97 fl oz.
    shown(page, "#mix-sheet", "2 products in 21.8 gal", "1.50 pt", f"{21.78 * 128 * 0.0025:.2f} fl oz", "Add Sticker")


def test_the_unit_is_chosen_beside_the_number_and_remembered(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, RIG.read_text(encoding="utf-8"), "/mix")
    fill(page, product="3.6", area="43560")
    page.click("#mix-go")
    shown(page, "#mix-sheet", f"{3.6 * 43.56:.1f} fl oz")
    page.select_option("[data-entry=product] select", "pt/acre")
    # one acre
    shown(page, "#mix-sheet", "3.60 pt")
    more(page)
    page.select_option("[data-entry=kind] select", "emulsion")
    page.click("#mix-add")
    page.wait_for_selector("#mix-product-2-part [data-entry=product] input:visible")
    page.fill("#mix-product-2-part [data-entry=product] input:visible", "2 lb/acre")
    page.click("#mix-go")
    shown(page, "#mix-sheet", "Add Product 1 (emulsifiable concentrate)")
    page.reload()
    page.wait_for_selector("[data-entry=product] select[data-ready]")
    assert page.input_value("[data-entry=product] select") == "pt/acre"
    fill(page, product="3.6", area="43560")
    page.click("#mix-go")
    shown(page, "#mix-sheet", "3.60 pt")


def test_a_sheet_is_kept_for_the_next_run(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, RIG.read_text(encoding="utf-8"), "/mix")
    fill(page, product="x")
    page.click("#mix-go")
    wrong(page, "product", '"x"')
    assert not page.is_visible("#mix-print") and not page.is_visible("#mix-keep")  # there is no sheet yet
    fill(page, product="2", name="Clover killer", area="1/2 acre")
    page.select_option("[data-entry=product] select", "fl oz/1000 ft²")
    page.click("#mix-go")
    shown(page, "#mix-sheet", "43.6 fl oz of product")
    page.click("#mix-keep")
    shown(page, "#mix-kept", "-clover-killer. Start a run: it is chosen there.")
    page.evaluate("document.getElementById('mix-kept').textContent = ''")
    page.click("#mix-keep")
    page.wait_for_load_state("networkidle")
    (path,) = kept_sheets(standing.runs)  # pressed twice, kept once
    kept = sheet_from_toml(path.read_text(encoding="utf-8"))
    assert kept.rig == "Harrow Lea pull-behind"
    assert kept.products[0].strength == (pytest.approx(2 / 128), False)


def test_mix_printed(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, RIG.read_text(encoding="utf-8"), "/mix")
    fill(page, product="2 fl oz/1000 ft2", area="30000 ft2")
    page.click("#mix-go")
    shown(page, "#mix-sheet", "60.0 fl oz")
    page.evaluate("window.print = () => { document.body.dataset.printed = 'yes'; }")
    page.click("#mix-print")
    assert page.evaluate("document.body.dataset.printed") == "yes"
    page.emulate_media(media="print")
    for hidden in ("input", "button", "nav"):
        assert page.query_selector_all(f"{hidden}:visible") == [], hidden
    printed = page.inner_text("main")
    for text in (
        "The label is the law",
        "gloves and eye protection",
        "Harrow Lea pull-behind",
        "Part load",
        "50.0 fl oz",
    ):
        assert text in printed


@pytest.mark.parametrize(
    ("typed", "unit", "read"),
    [
        ("2.5", "mph", "2.5 mph"),
        ("10,000", "ft²", "10,000 ft²"),
        ("1/2", "acre", "1/2 acre"),
        ("½", "acre", "½ acre"),
        ("60 x 25", "ft²", "60 x 25 ft"),
        ("circle 80", "ft²", "circle 80 ft"),
        ("60 x 25 m", "ft²", "60 x 25 m"),
        ("40 psi", "bar", "40 psi"),
        ("-1", "psi", "-1 psi"),
        ("x", "psi", "x"),
        ("", "psi", ""),
        (None, "psi", None),
    ],
)
def test_the_unit_beside_a_field_is_for_numbers_without_one(typed: str | None, unit: str, read: str | None) -> None:
    assert with_unit(typed, unit) == read


def test_every_unit_that_is_offered_can_be_read() -> None:
    kinds = {"width": "length", "share": "fraction", "scale": "mass"}
    for kind, systems in UNIT_CHOICES.items():
        for unit in {unit for units in systems.values() for unit in units}:
            if kind in ("dose", "per_area"):
                assert parse_dose(f"1 {unit}", kind).amount > 0
            elif kind == "strength":
                assert parse_strength(f"1 {unit}", kind)[0] > 0
            else:
                assert parse_quantity(f"1 {unit}", kinds.get(kind, kind), "here") > 0
    used = {entry.kind for form in (JOB, PRODUCT, RATE, TIPS, PUMP, REFILL) for entry in form}
    assert used - {""} == UNIT_CHOICES.keys()
