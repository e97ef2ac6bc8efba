"""What the alarm did is derived from faults and taps: the same as the live page's alarm, fed ten times a second."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from host.documents.json import to_json
from host.documents.text import format_text
from host.events import ALARM_MUTED as MUTE
from host.events import ALARM_SEEN as SEEN
from host.events import ALARM_UNMUTED as UNMUTE
from host.frames import Event
from host.pipeline import Fault
from host.pipeline.faults import Alarm
from host.review.alarms import alarm_events
from host.review.report import format_report
from host.review.review import review_run
from host.review.run_document import run_document

RUN = Path(__file__).parents[3] / "recordings" / "2026-05-14T0915-harrow-lea-pleasure-grounds.sward"


def fault(number, kind, called_s, ended_s):
    return Fault(number, kind, (), 1.0, called_s - 0.3, called_s, ended_s, -0.25, 0.01, 1.0, 0.04, 30.0, True)


FAULTS = [
    fault(1, "clog", 10.0, 40.0),
    fault(2, "board_reset", 20.0, 20.0),  # known only when it is over: nothing to make a noise about
    fault(3, "wear", 22.0, None),  # can wait
    fault(4, "air", 30.0, 31.7),
    fault(5, "valve_shut", 60.0, None),
]
TAPS = [Event(at_s, 0, kind, {}) for at_s, kind in ((15.0, SEEN), (35.0, MUTE), (50.0, UNMUTE), (61.0, SEEN))]


def test_it_is_the_live_pages_alarm():
    live = Alarm()
    for tick in range(700):
        now_s = tick / 10
        known = [replace(one, ended_s=one.ended_s if (one.ended_s or 1e9) <= now_s else None) for one in FAULTS]
        live.push(now_s, [one for one in known if one.called_s <= now_s])
        for tap in TAPS:
            if tap.host_s == now_s:
                live.acknowledge(now_s) if tap.kind == SEEN else live.mute(now_s, tap.kind == MUTE)
    told = alarm_events(FAULTS, TAPS)
    assert [(one.what, one.number) for one in told] == [(one.what, one.number) for one in live.events]
    assert [one.at_s for one in told] == pytest.approx([one.at_s for one in live.events], abs=0.1)


def test_no_faults_no_alarm():
    assert alarm_events([], TAPS[:1]) == []


@pytest.fixture(scope="module")
def tapped():
    review = review_run(RUN)
    called = review.faults[0].called_s
    taps = [Event(called + 4.0, 0, SEEN, {"by": "Jo"}), Event(called + 6.0, 0, MUTE, {})]
    return replace(review, run=replace(review.run, events=[*review.run.events, *taps]))


def test_taps_are_in_text_json_and_report_and_faults_are_not_in_the_file(tapped):
    called = tapped.faults[0].called_s
    seen, muted = tapped.at(called + 4.0), tapped.at(called + 6.0)
    document = run_document(tapped, "us")
    text = format_text(document)
    assert f"acknowledged {seen}" in text
    assert f"sound off {muted}" in text
    told = to_json(document)["alarms"]
    assert [one["what"] for one in told] == ["raised", "seen", "muted", "cleared"]
    assert told[1]["fault"] == 1
    assert [one["by"] for one in told] == ["", "Jo", "", ""]
    assert "Got it" in text and "Tank low at" in text
    json.dumps(told, allow_nan=False)
    assert f"acknowledged {seen}" in format_report(document, datetime(2026, 5, 14, tzinfo=UTC))
    kinds = {one.kind for one in tapped.run.events}
    assert not kinds & {"fault", "raised", "cleared", "alarm_raised"}


@pytest.mark.parametrize(("system", "unit"), [("us", "ft²"), ("metric", "m²")])
def test_the_report_says_when_how_sure_how_much_what_to_check_and_the_ground(tapped, system, unit):
    html = format_report(run_document(tapped, system), datetime(2026, 5, 14, tzinfo=UTC))
    part = html[html.index(">Faults</h2>") : html.index(">Passes</h2>")]
    one = tapped.faults[0]
    for words in (
        tapped.at(one.began_s),
        "nozzle clogged, about 1.0",
        f"Boom flow down {100 * abs(one.change):.1f} ±",
        " % sure",
        "look along the boom",
        *(["To tell them apart</dt><dd>all fans whole"] if one.or_else else []),
        f"{unit} affected, under-applied",
        "There is no catch test",
    ):
        assert words.lower() in part.lower()


def test_a_review_that_looked_for_none_does_not_say_that_there_are_none():
    review = review_run(RUN, watch_faults=False)
    document = run_document(review, "us")
    assert "None found" not in format_text(document)
    assert not to_json(document)["faults_looked_for"]
    assert "Not looked for" in format_report(document, datetime(2026, 5, 14, tzinfo=UTC))
