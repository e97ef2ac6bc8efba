"""Units chosen in a browser, on every page and in the numbers that come live."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dashboards.web.units_choice import UnitsChoice, shown_units
from tests.dashboards.asked import told
from tests.dashboards.processes import Server, wait_until
from tests.dashboards.test_live_page import text, wait_for
from tests.dashboards.writing import GrowingRun

SAMPLE = Path(__file__).parents[1] / "samples" / "runs" / "2026-05-wire-1.0.sward"


@pytest.mark.parametrize(
    ("cookie", "remembered", "shown"),
    [
        (b"swardflow-units=metric", "", "metric"),
        (b"a=b; swardflow-units=us", "metric", "us"),
        (b"swardflow-units=furlongs", "metric", "metric"),
        (b"", "", "the rig's"),
    ],
)
def test_the_browsers_choice_goes_before_the_settings_and_those_before_the_rig(
    cookie: bytes, remembered: str, shown: str
) -> None:
    seen = []

    async def page(scope: Any, receive: Any, send: Any) -> None:
        seen.append(shown_units("the rig's"))

    told(UnitsChoice(page, lambda: remembered), {"type": "http", "path": "/plan", "headers": [(b"cookie", cookie)]})
    assert seen == [shown]
    assert shown_units("the rig's") == "the rig's", "of that request alone"


@pytest.mark.browser
def test_units_are_switched_on_the_page_and_remembered(
    growing: GrowingRun, serve: Callable[..., Server], phone: Callable[..., Any]
) -> None:
    server = serve()
    page = phone(server.address)
    wait_for(page, "fresh", "fresh")
    assert text(page, "[data-field=pressure_unit]") == "psi"
    page.click("#pages-open")
    page.select_option("#units", "metric")
    wait_until(lambda: text(page, "[data-field=pressure_unit]") == "bar", "pressure in bar")
    # 40 psi = 2.758 bar (NIST SP 811: 1 psi = 6.894757 kPa)
    assert float(text(page, "[data-field=pressure]")) == pytest.approx(2.758, abs=0.05)
    page.goto(f"{server.address}/rig")
    page.wait_for_selector("text=L/100 m²")
    page.click("#pages-open")
    page.select_option("#units", "us")
    page.wait_for_selector("text=gal/1000 ft²")
    assert page.input_value("#units") == "us"
