"""The live page in a real browser, with a real server and a run file that grows."""

from __future__ import annotations

import re
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise
from typing import Any

import pytest

from dashboards.live.screen import ADVICE as SCREEN_ADVICE
from dashboards.live.stream import MISSED
from host.review.review import review_run
from host.review.run_document import run_document
from tests.dashboards.page_looks import contrasts, tap_targets
from tests.dashboards.processes import PATIENCE_S, Server, wait_until
from tests.dashboards.walking import TARGET_MPH
from tests.dashboards.writing import GrowingRun

pytestmark = pytest.mark.browser

Serve = Callable[..., Server]
Phone = Callable[..., Any]

READ_TEXTS = """() => {
    const texts = {frame: Number(document.getElementById("live").dataset.frame)};
    for (const element of document.querySelectorAll("[data-field]")) texts[element.dataset.field] = element.textContent;
    return texts;
}"""


def state(page: Any, name: str) -> str:
    return str(page.evaluate(f"document.getElementById('live').dataset.{name}"))


def text(page: Any, of: str) -> str:
    return str(page.inner_text(of))


def wait_for(page: Any, name: str, value: str, timeout_s: float = PATIENCE_S) -> None:
    wait_until(lambda: state(page, name) == value, f"{name} becomes {value}", timeout_s)


def test_what_is_painted_is_what_the_pipeline_says(growing: GrowingRun, serve: Serve, phone: Phone) -> None:
    server = serve()
    page = phone(server.address)
    wait_for(page, "fresh", "fresh")
    growing.stop()  # the last row stands still now
    last = wait_until(lambda: (row := server.row())["frame"] == growing.walk.seq and row, "the last line")
    wait_for(page, "frame", str(last["frame"]))
    shown = page.evaluate(READ_TEXTS)
    # No recorder runs here; what the page says of that changes on its own, a moment later.
    assert {key: shown[key] for key in shown if key != "recording_words"} == {
        key: last[key] for key in shown if key != "recording_words"
    }
    # 136.36 × gpm of one nozzle / (mph × spacing in inches), turf bulletins, from memory
    assert float(shown["rate"]) == pytest.approx(136.36 * 0.35 / (float(shown["pace"]) * 20), rel=0.03)
    assert float(shown["flow"]) == pytest.approx(4 * 0.35, abs=0.01)
    assert float(shown["pressure"]) == pytest.approx(40, abs=0.2)
    assert page.wrong == []


def test_advice_in_words_and_size(growing: GrowingRun, serve: Serve, phone: Phone) -> None:
    page = phone(serve().address)
    assert page.get_attribute("#steer", "aria-pressed") == "false", "nothing sounds until it is wanted"
    page.click("#steer")
    for pace_mph, words, advice in (
        (2.0, "Walk faster", "faster"),
        (3.0, "Slow down", "slower"),
        (TARGET_MPH, "On target", "hold"),
    ):
        growing.walk.pace_mph = pace_mph
        wait_for(page, "advice", advice)
        assert text(page, "#words") == words
        wait_until(lambda advice=advice: page.get_attribute("#steer", "data-played") == advice, "it is heard")
        assert page.evaluate("parseFloat(getComputedStyle(document.getElementById('words')).fontSize)") >= 40
        assert page.evaluate("parseFloat(getComputedStyle(document.getElementById('rate')).fontSize)") >= 80
        assert page.is_visible(".chevrons") == (advice != "hold")
        wait_until(lambda words=words: text(page, "#say") == words, "the advice is read out")


# The page's own moment at which the newest report was read, as it works it out from each message.
KEEP_READ_AT = """
window.WebSocket = class extends WebSocket {
    constructor(...given) {
        super(...given);
        this.addEventListener("message", event => {
            const age = JSON.parse(event.data).age_ms;
            if (age !== null) window.readAt = performance.now() - age;
        });
    }
};"""


AGE_MS = "performance.now() - window.readAt"
COLOUR = "getComputedStyle(document.getElementById('rate')).color"


@contextmanager
def held(server: Server) -> Iterator[None]:
    """Nothing comes from the server meanwhile."""
    server.child.send_signal(signal.SIGSTOP)
    try:
        yield
    finally:
        server.child.send_signal(signal.SIGCONT)


def test_numbers_are_grey_within_a_second_and_the_page_says_why(
    growing: GrowingRun, serve: Serve, phone: Phone
) -> None:
    """By the page's own clock, which only this test moves: a busy machine is late by itself."""
    server = serve()
    page = phone("about:blank")
    page.add_init_script(KEEP_READ_AT)
    page.clock.install(time=0)
    page.clock.pause_at(1)
    page.goto(server.address)

    def passes(ms: int) -> bool:
        page.clock.run_for(ms)
        return True

    wait_until(lambda: passes(20) and state(page, "fresh") == "fresh" and page.evaluate(AGE_MS) < 400, "fresh numbers")
    fresh_colour = page.evaluate(COLOUR)
    with held(server):
        wait_until(lambda: passes(20) and page.evaluate(COLOUR) != fresh_colour, "the number is grey")
        # The board reports ten times a second; seven reports that are missing are no hiccup any more.
        assert 700 <= page.evaluate(AGE_MS) < 1000, "grey within a second of the last line, and not before its time"
        assert text(page, "#words") == "Old numbers"
        assert text(page, "#why") == "Old numbers: don't rely on them."
        assert state(page, "advice") == "none"
        passes(int(3150 - page.evaluate(AGE_MS)))
        assert state(page, "fresh") == "gone"
        growing.stop()
    page.clock.resume()
    said = "The recorder has not answered for"  # here there is none
    wait_until(lambda: text(page, "#why").startswith(said), "the reason")
    read_out = "Old numbers. Recorder not answering"
    wait_until(lambda: text(page, "#say") == read_out, "it is read out")


def test_before_the_first_line_and_without_a_run(runs: Any, serve: Serve, phone: Phone) -> None:
    page = phone(serve().address)
    wait_until(lambda: text(page, "#why").startswith("No run yet"), "a sentence")
    assert text(page, "#words") == "Waiting"
    assert text(page, "#rate") == "–"
    assert page.is_disabled("#mark")
    run = GrowingRun(runs / "later.sward", lines=0)
    wait_for(page, "fresh", "fresh")
    run.end()
    wait_for(page, "recording", "ended")


def test_end_of_the_recording_is_shown(growing: GrowingRun, serve: Serve, phone: Phone) -> None:
    page = phone(serve().address)
    wait_for(page, "fresh", "fresh")
    growing.stop()
    growing.writer.event("run_end", growing.walk.time_s, reason="test")
    wait_for(page, "recording", "ended")
    assert text(page, "[data-field=recording_words]") == "Recording ended"
    wait_for(page, "fresh", "gone")
    assert text(page, "#words") == "Run ended"
    review = review_run(growing.path)
    assert text(page, "#why") == run_document(review, review.rig.units).answer
    for button in ("#mark", "#refilled", "#stop"):
        assert page.is_disabled(button)


def test_the_page_comes_back_after_the_server_was_killed(growing: GrowingRun, serve: Serve, phone: Phone) -> None:
    server = serve()
    page = phone(server.address)
    wait_for(page, "fresh", "fresh")
    before = page.evaluate(READ_TEXTS)["frame"]
    server.child.kill()
    server.child.wait()
    wait_for(page, "page", "lost")
    assert "retrying" in text(page, "#page-words")
    assert (text(page, "[data-field=recording_words]"), state(page, "link")) == ("Recording unknown", "unknown")
    wait_for(page, "fresh", "gone", 5.0)
    assert text(page, "#why").startswith("No contact with the computer at the sprayer")
    serve(port=server.port)
    wait_for(page, "page", "live", 6.0)
    wait_for(page, "fresh", "fresh")
    assert page.evaluate(READ_TEXTS)["frame"] > before

    def widest_gap() -> int:
        xs = [int(x) for x in re.findall(r"[ML](-?\d+) ", page.get_attribute("#trace-line", "d"))]
        return max(b - a for a, b in pairwise(xs))

    # The minute's trace is whole again: the server was away for seconds, and no gap is wider than what a busy screen
    # may miss without being sent the trace anew.
    wait_until(lambda: widest_gap() <= MISSED + 3, "the trace without a gap, in tenths of a second", 8.0)


def test_polling_where_websockets_are_blocked(growing: GrowingRun, serve: Serve, phone: Phone, browser: Any) -> None:
    server = serve()
    context = browser.new_context()
    context.add_init_script("window.WebSocket = class { constructor() { throw new Error('blocked'); } };")
    page = context.new_page()
    page.goto(server.address)
    wait_for(page, "page", "polling")
    wait_for(page, "fresh", "fresh")
    first = page.evaluate(READ_TEXTS)["frame"]
    wait_until(lambda: page.evaluate(READ_TEXTS)["frame"] - first >= 10, "the numbers go on")
    assert state(page, "fresh") == "fresh"
    context.close()


def test_no_request_leaves_the_machine_and_nothing_of_dash_is_loaded(
    growing: GrowingRun, serve: Serve, phone: Phone
) -> None:
    server = serve()
    page = phone(server.address)
    wait_for(page, "fresh", "fresh")
    press_light(page)
    shown = int(state(page, "frame"))
    wait_until(lambda: int(state(page, "frame")) >= shown + 10, "a second of numbers")
    here = (server.address, server.address.replace("http", "ws"))
    assert len(page.asked) > 10
    assert [url for url in page.asked if not url.startswith(here)] == []
    assert [url for url in page.asked if "dash" in url.lower()] == []
    assert {url for url in page.asked if url.startswith("ws")} == {f"ws://127.0.0.1:{server.port}/live/stream"}
    assert page.evaluate("typeof window.DashRenderer") == "undefined"
    assert page.wrong == []


SIZES = ((360, 740), (412, 915), (740, 360), (1280, 800))
ADVICE = ("hold", "faster", "slower", "standing", "idle", "wait")


def test_looks(growing: GrowingRun, serve: Serve, phone: Phone) -> None:
    """Nothing wider than the screen, contrast at least 7:1 for every text, buttons of at least 48 px."""
    page = phone(serve().address)
    for fresh in ("fresh", "gone"):
        wait_for(page, "fresh", fresh)
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            for light in ("light", "dark"):
                page.emulate_media(color_scheme=light)
                where = f"{fresh}, {width} × {height}, {light}"
                assert page.evaluate("document.documentElement.scrollWidth") <= width, where
                looked_at = contrasts(page)
                assert len(looked_at) > 25
                assert [one for one in looked_at if one["ratio"] < 7.0] == [], where
                assert [one for one in tap_targets(page) if one["width"] < 48 or one["height"] < 48] == [], where
        growing.stop()


def test_every_advice_fits_and_can_be_read(growing: GrowingRun, serve: Serve, phone: Phone) -> None:
    page = phone(serve().address)
    wait_for(page, "fresh", "fresh")
    growing.stop()
    page.evaluate("document.getElementById('live').id = 'still'")
    words = dict(SCREEN_ADVICE.values())
    for advice in ADVICE:
        for light in ("light", "dark"):
            page.emulate_media(color_scheme=light)
            page.evaluate(
                """([advice, words]) => {
                    const still = document.getElementById("still").cloneNode(true);  // out of the script's hold
                    document.getElementById("still").replaceWith(still);
                    still.dataset.advice = advice; still.dataset.fresh = "fresh";
                    still.querySelector("#words").textContent = words;
                }""",
                [advice, words[advice]],
            )
            assert [one for one in contrasts(page) if one["ratio"] < 7.0] == [], (advice, light)
            assert page.evaluate("document.documentElement.scrollWidth") <= 360
            inside = page.evaluate(
                """() => {
                    const range = document.createRange();
                    range.selectNodeContents(document.getElementById("words"));
                    return range.getBoundingClientRect().right
                        <= document.querySelector(".advice").getBoundingClientRect().right - 8;
                }"""
            )
            assert inside, f"{advice} runs out of its frame"


def test_focus_is_seen_and_in_order(growing: GrowingRun, serve: Serve, phone: Phone) -> None:
    page = phone(serve().address)
    wait_for(page, "fresh", "fresh")
    wait_for(page, "recording", "silent")  # no recorder: the buttons cannot be pressed and are passed over
    assert page.is_visible("#sound")
    assert tab_through(page, 2) == ["Skip to the page", "pages-open"]
    page.wait_for_selector("#sound", state="hidden")  # a key counts as a touch: alarms can be heard from now on
    page.set_viewport_size({"width": 1280, "height": 800})
    page.reload()
    wait_for(page, "recording", "silent")
    links = [link.strip() for link in page.locator("nav a").all_text_contents()]
    assert links[:2] == ["Home", "Live"]
    assert tab_through(page, len(links) + 3) == ["Skip to the page", *links, "units", "light"]


def tab_through(page: Any, presses: int) -> list[str]:
    """What has the focus after each press of Tab; each time a ring of 4 px is around it."""
    order = []
    for _ in range(presses):
        page.keyboard.press("Tab")
        order.append(page.evaluate("document.activeElement.id || document.activeElement.textContent"))
        assert page.evaluate("getComputedStyle(document.activeElement).outline").endswith("solid 4px")
    return order


def press_light(page: Any) -> None:
    page.click("#pages-open")
    page.click("#light")


def test_day_and_dark_are_kept(growing: GrowingRun, serve: Serve, phone: Phone) -> None:
    page = phone(serve().address)
    ground = "getComputedStyle(document.body).backgroundColor"
    assert page.evaluate(ground) == "rgb(255, 255, 255)"
    press_light(page)
    assert page.evaluate(ground) == "rgb(0, 0, 0)"
    page.reload()
    assert page.evaluate(ground) == "rgb(0, 0, 0)"
