"""Plan and Mix filled in on a phone, with US and metric rigs: against published tables and the host's own code."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from host.plan.mix import Label, mix
from host.plan.pump import AGITATION, judge_pump
from host.plan.rate import solve
from host.rig import load_rig, rig_from_toml
from host.units import format_value, parse_quantity
from tests.dashboards.calibrating import PATIENCE_MS, fill, wrong
from tests.dashboards.processes import Standing, wait_until
from tests.dashboards.walking import RIG
from tests.dashboards.writing import begin

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
    page.set_default_timeout(PATIENCE_MS)
    page.goto(standing.server.address + path)
    page.wait_for_selector("main.sheet .field")
    return page


def shown(page: Any, where: str, *texts: str) -> None:
    """All of that stands there, and nothing has to be moved sideways to be read."""
    for text in texts:
        wait_until(lambda text=text: text in page.inner_text(where), f"{text} in {page.inner_text(where)}", 20)  # type: ignore[misc]
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_plan_in_us_units(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, RIG.read_text(encoding="utf-8"), "/plan")
    fill(page, speed="30 psi", gravity="3", highest="-2 psi", margin="900 %")
    page.click("#plan-go")
    wrong(page, "speed", "which is not a speed")
    wrong(page, "gravity", "give a number from 0.5 to 2")
    wrong(page, "highest", "give one above zero")
    wrong(page, "margin", "must be 0 to 500 %")
    fill(page, speed="2.5 mph", gravity="1", highest="40 psi", margin="20 %")
    page.click("#plan-go")
    # gal/1000 ft² = 136 × gal/min of one nozzle / (mph × spacing in inches): turf bulletins; 136.36 unrounded.
    shown(page, "#plan-setting", f"{136.36 * 0.35 / (2.5 * 20):.2f} gal/1000 ft²", "0.350 gal/min")
    fill(page, pressure="", rate="1.2 gal/1000 ft2", gravity="1.28")
    page.click("#plan-go")
    rig = load_rig(RIG)
    rate, speed = parse_quantity("1.2 gal/1000 ft2", "rate", "rate"), parse_quantity("2.5 mph", "speed", "speed")
    setting = solve(rig, rate_m3_m2=rate, speed_m_s=speed, specific_gravity=1.28)
    shown(page, "#plan-setting", format_value(setting.pressure_pa, "pressure", "us"), *setting.warnings)


def test_plan_in_metric_units(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, WALKER.read_text(encoding="utf-8"), "/plan")
    fill(page, speed="4 km/h", pressure="2.0 bar")
    page.click("#plan-go")
    # L/ha = 600 × L/min of one nozzle / (km/h × spacing in m): makers' catalogues, common practice.
    shown(page, "#plan-setting", f"{600 * 0.98 / (4 * 0.5):.0f} L/ha", "L/100 m²")
    shown(page, "#plan-verdict", "The pump is big enough")
    need = judge_pump(load_rig(WALKER), AGITATION["suspension"]).need
    shown(page, "#plan-verdict", format_value(need.with_margin_m3_s, "flow", "metric"))
    fill(page, nozzle_flow="1.2 L/min")
    page.click("#plan-go")
    wrong(page, "nozzle_flow", "two")


def test_pump_of_a_nine_gallon_tank(standing: Standing, phone: Phone) -> None:
    """9 gal, three nozzles of 0.49 gal/min: 0.45 or 1.125 gal/min of agitation, 2.595 in all. Common practice."""
    page = open_page(phone, standing, NINE_GALLONS, "/plan")
    wrong(page, "highest", "has no range")
    fill(page, highest="40 psi")
    page.click(".chips label:has-text('Solution')")
    shown(page, "#plan-verdict", "0.450 gal/min", "1.920 gal/min")
    page.click(".chips label:has-text('Suspension')")
    shown(page, "#plan-verdict", "1.125 gal/min", "2.595 gal/min", "The pump is big enough")


@pytest.mark.parametrize("light", ["light", "dark"])
def test_plot_can_be_read_on_a_phone(standing: Standing, phone: Phone, light: str) -> None:
    page = open_page(phone, standing, RIG.read_text(encoding="utf-8"), "/plan")
    page.emulate_media(color_scheme=light)
    page.wait_for_selector(".plot text", timeout=60_000)
    texts = page.eval_on_selector_all(
        ".plot text", "all => all.map(one => [one.textContent, parseFloat(getComputedStyle(one).fontSize)])"
    )
    assert min(size for _, size in texts) >= 12
    assert {"Speed, mph", "Rate, gal/1000 ft²"} <= {text for text, _ in texts}
    # Lines of the grid stay behind the curves: a third of their strength or less.
    grid = page.eval_on_selector_all(
        ".plot .gridlayer path", "all => all.map(one => parseFloat(getComputedStyle(one).strokeOpacity))"
    )
    assert grid and max(grid) <= 0.35
    heads = page.eval_on_selector_all("#plan-setting thead th", "all => all.map(one => one.textContent)")
    assert heads[0] == "psi" and len(heads) == 6


def test_mix_in_us_units(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, RIG.read_text(encoding="utf-8"), "/mix")
    entries = {"product": "2 furlong", "area": "0 ft2", "rate": "-1 gal/1000 ft2", "tank": "25", "active": "150 %"}
    limits = {"most": "-1 fl oz/1000 ft2", "season": "50 %", "used": "x", "measured": "0 gal/1000 ft2"}
    fill(page, **(entries | limits))
    page.click("#mix-go")
    for name in (*entries, *limits):
        wrong(page, name, ":")
    assert page.inner_text("#mix-sheet") == ""
    entries = {"product": "2 fl oz/1000 ft2", "area": "12000 ft2", "rate": "", "tank": "", "active": "50 %"}
    limits = {"most": "3 fl oz/1000 ft2", "season": "6 fl oz/1000 ft2", "used": "4 fl oz/1000 ft2"}
    fill(page, **(entries | limits), measured="1.1 gal/1000 ft2")
    page.click("#mix-go")
    # 2 fl oz of active ingredient at half strength are 4 fl oz of product, on twelve thousand square feet 48.
    shown(page, "#mix-sheet", "48.0 fl oz", "12000 ft²", "The label is the law.", "+10 % of what was wanted")
    shown(page, "#mix-sheet", "1.33 times what the label allows per application: do not spray it.")
    # 4 used before and 4 now are 8, of 6 that are allowed.
    shown(page, "#mix-sheet", "1.33 times what the label allows per season")


def test_mix_in_metric_units_and_dry(standing: Standing, phone: Phone) -> None:
    page = open_page(phone, standing, WALKER.read_text(encoding="utf-8"), "/mix")
    fill(page, product="1.5 kg/ha", most="2 L/ha", area="2500 m2")
    page.click("#mix-go")
    wrong(page, "most", "give both as volume or both as weight")
    fill(page, most="2 kg/ha")
    page.click("#mix-go")
    per_area, area = parse_quantity("1.5 kg/ha", "mass_per_area", "product"), 2500.0
    rig = rig_from_toml(WALKER.read_text(encoding="utf-8"), "rig")
    result = mix("dry", per_area, rig.target.rate_m3_m2, rig.tank.volume_m3, area, label=Label(2e-4, None))
    assert result.warnings == () and result.part is None
    # 4 L/100 m² on 2500 m² are 100 L: two tanks of 50 L with 187.5 g each.
    shown(page, "#mix-sheet", format_value(result.product, "small_mass", "metric"), "100.0 L", "2 full", "375 g")


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
    for text in ("The label is the law.", "gloves and eye protection", "Mix for Harrow Lea pull-behind", "Last part"):
        assert text in printed
