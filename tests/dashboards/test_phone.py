"""What a phone goes through on a sprayer: a screen that goes dark, sound that needs a touch, Wi-Fi that is lost."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from dashboards.live.stream import MISSED
from tests.dashboards.processes import PATIENCE_S, Server, wait_until
from tests.dashboards.walking import TARGET_MPH
from tests.dashboards.writing import GrowingRun

pytestmark = pytest.mark.browser

Serve = Callable[..., Server]
Phone = Callable[..., Any]
# Keeps what the browser gave, so that a test can take it back as the browser does.
KEEP_LOCK = """() => {
    const given = WakeLock.prototype.request;
    WakeLock.prototype.request = async function (kind) { return window.given = await given.call(this, kind); };
}"""
AWAKE = "document.documentElement.dataset.awake"


def state(page: Any, name: str) -> str:
    return str(page.evaluate(f"document.getElementById('live').dataset.{name}"))


def wait_for(page: Any, name: str, value: str, timeout_s: float = PATIENCE_S) -> None:
    wait_until(lambda: state(page, name) == value, f"{name} becomes {value}", timeout_s)


@contextmanager
def context_with(browser: Any, script: str = "", **options: Any) -> Iterator[Any]:
    context = browser.new_context(viewport={"width": 360, "height": 740}, **options)
    if script:
        context.add_init_script(f"({script})()")
    yield context
    context.close()


def test_the_screen_stays_on_until_the_run_has_ended(runs: Path, serve: Serve, browser: Any) -> None:
    run = GrowingRun(runs / "2026-05-14T0915-bowling-green.sward")
    with context_with(browser, KEEP_LOCK) as context:
        page = context.new_page()
        page.goto(serve().address)
        wait_until(lambda: page.evaluate(AWAKE) == "held", "the screen is kept on")
        assert page.is_hidden("#awake")
        page.evaluate("window.taken = window.given; window.given.release()")  # as the browser does with a hidden page
        wait_until(lambda: page.evaluate("window.given !== window.taken && !window.given.released"), "asked for again")
        wait_until(lambda: page.evaluate(AWAKE) == "held", "and held")
        run.end()
        wait_until(lambda: page.evaluate(AWAKE) == "free", "released with the end of the run")
        assert page.evaluate("window.given.released")


def test_where_the_screen_cannot_be_kept_on_it_is_said_once(growing: GrowingRun, serve: Serve, browser: Any) -> None:
    server = serve()
    # As on a page over plain http from another computer: no secure context, no wakeLock.
    with context_with(
        browser, "() => Object.defineProperty(Navigator.prototype, 'wakeLock', {value: undefined})"
    ) as context:
        page = context.new_page()
        page.goto(server.address)
        page.wait_for_selector("#awake")
        assert page.locator("#awake").bounding_box()["height"] < 60  # folded: no figure leaves the screen for it
        page.click("#awake summary")
        assert "screen timeout" in page.inner_text("#awake")
        page.click("#awake-told")
        assert page.is_hidden("#awake")
        page.reload()
        wait_for(page, "fresh", "fresh")
        page.wait_for_timeout(300)
        assert page.is_hidden("#awake")


def test_one_touch_of_a_finger_lets_alarms_sound(growing: GrowingRun, serve: Serve, browser: Any) -> None:
    with context_with(browser, has_touch=True, is_mobile=True) as context:
        page = context.new_page()
        page.goto(serve().address)
        page.wait_for_selector("#sound")
        assert page.inner_text("#sound") == "Turn alarm sound on"
        page.tap("#sound")
        page.wait_for_selector("#sound", state="hidden")


def test_wifi_that_is_lost_and_comes_back(growing: GrowingRun, serve: Serve, phone: Phone) -> None:
    page = phone(serve().address)
    wait_for(page, "fresh", "fresh")
    page.context.set_offline(True)
    wait_for(page, "page", "lost")
    wait_for(page, "fresh", "gone")
    assert page.inner_text("#words") == "Old numbers"
    assert "Recording continues without this page" in page.inner_text("#why")
    assert page.inner_text("[data-field=recording_words]") == "Recording unknown"
    page.context.set_offline(False)
    wait_for(page, "page", "live")
    wait_for(page, "fresh", "fresh")

    def widest_gap() -> int:
        xs = [int(x) for x in re.findall(r"[ML](-?\d+) ", page.get_attribute("#trace-line", "d"))]
        return max(b - a for a, b in pairwise(xs))

    wait_until(lambda: widest_gap() <= MISSED + 3, "the trace without a gap, in tenths of a second")


@pytest.mark.journey
def test_what_is_read_out_is_bounded(growing: GrowingRun, serve: Serve, phone: Phone) -> None:
    """A walker who strays about the edge of the band for 20 s: a screen reader gets no more than one advice in 5 s."""
    page = phone(serve().address)
    wait_for(page, "fresh", "fresh")
    page.evaluate(
        """() => {
            window.heard = [];
            const look = () => window.heard.push([performance.now(), document.getElementById("say").textContent]);
            new MutationObserver(look).observe(document.getElementById("say"), {childList: true});
        }"""
    )
    seen = set()
    for turn in range(10):
        growing.walk.pace_mph = TARGET_MPH if turn % 2 else 2.0
        page.wait_for_timeout(2000)
        seen.add(page.inner_text("#words"))
    heard = page.evaluate("window.heard")
    assert len(seen) > 1, "the advice did change"
    assert heard, "and something was read out"
    assert all(b[0] - a[0] >= 4900 for a, b in pairwise(heard))


def test_an_alarm_is_read_out_once_and_its_figures_are_not(runs: Path, serve: Serve, phone: Phone) -> None:
    run = GrowingRun(runs / "2026-05-14T0915-bowling-green.sward", lines=300)
    page = phone(serve().address)
    wait_for(page, "fresh", "fresh")
    page.evaluate(
        """() => {
            window.heard = [];
            const look = () => window.heard.push(document.getElementById("say-alarm").textContent);
            new MutationObserver(look).observe(document.getElementById("say-alarm"), {childList: true});
        }"""
    )
    run.walk.flow_share = 0.75
    wait_until(lambda: page.evaluate("window.heard"), "the alarm is read out")
    run.walk.flow_share = 0.72  # the figures in its words move
    page.wait_for_timeout(3000)
    heard = page.evaluate("window.heard")
    assert len(heard) == 1
    assert "Check first: look along the boom" in heard[0]
    assert page.get_attribute("#say-alarm", "role") == "alert"
    run.end()


def test_pages_by_keyboard_alone(growing: GrowingRun, serve: Serve, phone: Phone) -> None:
    page = phone(serve().address)
    wait_for(page, "fresh", "fresh")
    focused = "document.activeElement.id || document.activeElement.textContent"
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate(focused) == "pages-open"
    page.keyboard.press("Enter")
    assert page.get_attribute("#pages-open", "aria-expanded") == "true"
    page.keyboard.press("Tab")
    assert page.evaluate(focused) == "Home"
    page.keyboard.press("Escape")
    assert page.get_attribute("#pages-open", "aria-expanded") == "false"
    assert page.evaluate(focused) == "pages-open"
    page.keyboard.press("Enter")
    for _ in range(page.locator("nav a").count() + 2):
        page.keyboard.press("Tab")
    assert page.evaluate(focused) == "light"
    page.keyboard.press("Tab")  # out of it: it closes behind
    wait_until(lambda: page.get_attribute("#pages-open", "aria-expanded") == "false", "the list of pages closes")
    page.goto(page.url.replace("/live", "/plan"))
    page.wait_for_selector("main h1")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")  # the way past the pages
    assert page.evaluate("document.activeElement.id") == "main"


@pytest.mark.journey
def test_a_part_of_the_trace_is_looked_at_closer_and_one_tap_goes_back(
    growing: GrowingRun, serve: Serve, phone: Phone
) -> None:
    page = phone(serve().address)
    wait_for(page, "fresh", "fresh")
    label = page.locator("#span")

    def at(share: float) -> tuple[float, float]:
        """A place on the trace, by the share of its width; what stands above it may have moved it meanwhile."""
        box = page.locator("#trace").bounding_box()
        return box["x"] + share * box["width"], box["y"] + box["height"] / 2

    def drag(start: float, end: float) -> None:
        page.mouse.move(*at(start))
        page.mouse.down()
        page.mouse.move(*at(end), steps=4)
        page.mouse.up()

    def pinch(before: tuple[float, float], after: tuple[float, float]) -> None:
        touch = page.context.new_cdp_session(page)
        for kind, places in (("touchStart", before), ("touchMove", after), ("touchEnd", ())):
            points = [{"x": at(share)[0], "y": at(share)[1], "id": id_} for id_, share in enumerate(places)]
            touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    # The last quarter of a minute, which goes on with the newest number.
    drag(0.75, 1.0)
    wait_until(lambda: label.inner_text() == "Last 15\u00a0s. Tap to go back", label.inner_text())
    drawn = page.get_attribute("#trace-line", "d")
    wait_until(lambda: page.get_attribute("#trace-line", "d") != drawn, "it is drawn on")
    label.click()
    assert label.inner_text() == "1 min ago"

    # A part that is over stands still, and the numbers go on.
    drag(0.5, 0.9)
    wait_until(lambda: re.fullmatch(r"\d:\d\d to \d:\d\d. Tap to go back", label.inner_text()), label.inner_text)
    drawn, frame = page.get_attribute("#trace-line", "d"), state(page, "frame")
    wait_until(lambda: int(state(page, "frame")) > int(frame) + 10, "numbers go on")
    assert page.get_attribute("#trace-line", "d") == drawn
    label.click()
    assert label.inner_text() == "1 min ago"

    # Two fingers that lay a tenth of the width apart, and then half of it: a fifth of a minute.
    pinch((0.85, 0.95), (0.5, 1.0))
    wait_until(lambda: "Tap to go back" in label.inner_text(), "a closer look")
    assert page.evaluate("scrollX + scrollY") == 0
    label.click()
    assert label.inner_text() == "1 min ago"
    label.click()
    assert label.inner_text() == "10 min ago"


@pytest.mark.journey
def test_what_is_lost_on_its_way_is_asked_again_unless_somebody_pressed_it(
    growing: GrowingRun, serve: Serve, phone: Phone
) -> None:
    server = serve()
    page = phone(server.address)
    wait_for(page, "fresh", "fresh")
    lost: list[str] = []
    pressed: list[str] = []

    def lose_first(route: Any) -> None:
        of, said = route.request.url.split("?")[0], route.request.post_data or ""
        if '.n_clicks"]' in said:
            pressed.append(said)
        if pressed or of not in lost:
            lost.append(of)
            route.abort()
        else:
            route.fallback()

    page.route(re.compile("/_dash-"), lose_first)
    run = f"/run?name={growing.path.stem}"
    for path, button in (("/plan", "Calculate"), ("/mix", "Calculate"), ("/calibrate", "Start"), (run, "Add note")):
        pressed.clear()
        lost[:] = [of for of in lost if "_dash-update-component" not in of]
        page.goto(server.address + path)
        page.wait_for_selector("main h1")
        page.wait_for_selector("[role=alert]#page-failed:empty", state="attached")
        pressing = page.get_by_role("button", name=button, exact=True)
        pressing.wait_for()
        assert any("dash_renderer" in one for one in lost)
        assert any("_dash-update-component" in one for one in lost)
        pressing.click()
        page.wait_for_selector("#page-failed:has-text('No answer to what you pressed.')")
        assert len(pressed) == 1, pressed
    page.wrong.clear()  # what was lost on purpose
