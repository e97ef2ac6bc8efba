"""Every page in the other two engines that phones have: it loads, is drawn, and goes live, of a phone's size."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from shutil import copy

import pytest

from dashboards.pages import PAGES
from tests.dashboards.engines import ENGINES, MISSING, WIDTH, started
from tests.dashboards.processes import RecorderProcess, Server, wait_until
from tests.dashboards.screen import Screen
from tests.dashboards.test_accessible import RECORDING

pytestmark = pytest.mark.journey

# What of the live page's numbers is not in sight, below the window or behind the bar of buttons, by how many pixels.
_HIDDEN = """() => {
  for (const id of ["sound", "awake"]) document.getElementById(id).hidden = false;
  const top = document.querySelector(".bar").getBoundingClientRect().top;
  return [...document.querySelectorAll(".figures dt, .figures dd, #rate")]
    .map(text => [text.innerText, text.getBoundingClientRect().bottom - top]).filter(([, below]) => below > 1);
}"""


@pytest.fixture(params=[*ENGINES])
def screen(
    request: pytest.FixtureRequest, runs: Path, tmp_path: Path, serve: Callable[..., Server]
) -> Iterator[Screen]:
    """A phone's screen before a server that has let it in."""
    if missing := MISSING[request.param]():
        pytest.skip(missing)
    copy(RECORDING, runs)
    server = serve()
    with started(request.param, tmp_path) as engine:
        engine.goto(server.address + "/home")
        yield Screen(engine)


def test_every_page_loads_is_drawn_and_the_live_page_goes_live(recorder: RecorderProcess, screen: Screen) -> None:
    engine = screen.engine
    screen.wait("main h1")
    address = engine.evaluate("() => location.origin")
    for page in PAGES:
        if page.path == "/live":
            continue
        engine.goto(address + page.path + (f"?name={RECORDING.stem}" if page.path == "/run" else ""))
        screen.wait("main h1")
        if page.path == "/run":
            screen.wait("#run-body .headline")
            screen.wait("figure.ground img")
            screen.wait(".js-plotly-plot .main-svg")
        assert engine.evaluate("() => document.documentElement.scrollWidth") <= WIDTH, page.path
    go_live(screen, address)


def go_live(screen: Screen, address: str) -> None:
    """Numbers come, go on coming, and none is pushed off the phone by what a first visit has to be told."""
    screen.engine.goto(address + "/live")
    screen.wait("#live[data-fresh=fresh][data-page=live]")
    screen.wait("#words", "On target")
    first = screen.text("[data-field=elapsed]")
    wait_until(lambda: screen.text("[data-field=elapsed]") != first, "numbers go on", 20)
    assert screen.engine.evaluate(_HIDDEN) == []
