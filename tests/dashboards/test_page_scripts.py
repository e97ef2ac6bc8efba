"""Scripts of the pages by themselves, in an empty page: no server, no clock but the test's."""

from __future__ import annotations

from typing import Any

import pytest

from dashboards.shell import HERE

pytestmark = pytest.mark.browser


def page_with(browser: Any, script: str, before: str, body: str) -> Any:
    """An empty page with one of our scripts in it."""
    page = browser.new_context().new_page()
    page.set_content(body)
    page.add_script_tag(content=before + (HERE / "assets" / script).read_text(encoding="utf-8"))
    return page


# A clock and loudspeakers of a test's own: which tones go to the ears is read from the plan, whatever the machine does.
EARS = """
window.now = 0;
performance.now = () => window.now;
window.tones = [];
class Node {
  constructor() {
    this.frequency = this.gain = {setValueAtTime() {}, linearRampToValueAtTime() {}, setTargetAtTime() {}};
  }
  connect(other) { if (other === "ears") window.tones.push(this); return other; }
  disconnect() { window.tones.splice(window.tones.indexOf(this), 1); }
  start() {}
  stop() {}
}
window.AudioContext = class {
  constructor() { this.state = "running"; this.currentTime = 0; this.destination = "ears"; }
  createOscillator() { return new Node(); }
  createGain() { return new Node(); }
};
"""
HEARD = """([now, row]) => { window.now = now; window.steer(row); return window.tones.length; }"""


def test_a_speed_sound_breaks_off_when_an_alarm_sounds(browser: Any) -> None:
    page = page_with(browser, "live-steer.js", EARS, "<button id=steer></button>")
    page.evaluate("window.steer = window.swardflow.steer()")
    page.click("#steer")
    slower, faulty = {"advice": "slower", "fault": ""}, {"advice": "slower", "fault": "Nozzle clogged"}
    now, heard = 0, lambda row: page.evaluate(HEARD, [now, row])
    for alarm in (None, faulty, {"advice": "stop", "fault": ""}):
        assert heard(slower) <= 1, "advice that may go away again is not said yet"
        now += 900
        assert heard(slower) >= 2, "two falling tones are under way"
        now += 100
        assert heard(alarm) == 0
        now += 10_000
        assert heard(alarm) == 0, "and none begins under the alarm"


ASKED = "window.asked = []; window.fetch = async (...all) => { asked.push(all); return {status: 200}; };"
SEND = """async press => {
  const body = JSON.stringify({output: "said.children", changedPropIds: press});
  await fetch("/_dash-update-component", {body}).catch(() => 0);
  return window.asked.length;
}"""


def test_one_tap_sends_a_press_once_however_often_the_page_is_drawn(browser: Any) -> None:
    page = page_with(browser, "frame.js", ASKED, """<p id="said"></p><button id='{"drop":1}'>Take out</button>""")
    press = ['{"drop":1}.n_clicks']
    page.get_by_role("button").click()
    assert page.evaluate(SEND, press) == 1
    assert page.evaluate(SEND, press) == 1, "drawn anew, and not tapped"
    page.get_by_role("button").click()
    assert page.evaluate(SEND, press) == 2
    assert page.evaluate(SEND, ["said.children"]) == 3
    assert page.evaluate(SEND, ["said.children"]) == 4, "what is no press may be asked as often as it is wanted"
