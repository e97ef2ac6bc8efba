"""The tools that were said once are offered the next time, and asked about until then."""

from datetime import UTC, datetime

import pytest
from plotly.io.json import to_json_plotly

from dashboards.calibrate.fields import settings_of
from host.calibrate.drafts import DraftFile
from host.calibrate.kinds import KINDS
from host.calibrate.tools import keep_tools, last_tools
from tests.host.calibrate.jobs import WALKER, save, start
from tests.host.calibrate.rigs import rig

BY_NAME = {kind.name: kind for kind in KINDS}


def shown(kind, tools, cards):
    return to_json_plotly(settings_of(BY_NAME[kind], rig(), tools, cards))


def test_each_kind_keeps_its_own_tools_and_leaves_the_others(tmp_path):
    assert last_tools(tmp_path, "R") == {}
    keep_tools(tmp_path, "R", BY_NAME["meter"], {"accuracy": " 1 % ", "water": "68 °F", "amount": "2 L"})
    keep_tools(tmp_path, "R", BY_NAME["wheel"], {"tape": "0.2 %", "course": "60 m"})
    kept = last_tools(tmp_path, "R")
    assert (kept["accuracy"], kept["tape"], kept["jug"]) == ("1 %", "0.2 %", "")
    assert not {"water", "amount", "course"} & set(kept)  # of the day, not of the tool
    assert last_tools(tmp_path, "another") == {}


def test_what_cannot_be_read_is_asked_again(tmp_path):
    keep_tools(tmp_path, "R", BY_NAME["wheel"], {"tape": "0.2 %"})
    (path,) = tmp_path.rglob("tools.json")
    for text in ("[]", "{", '{"tape": 3}', "[" * 100_000):
        path.write_text(text)
        assert last_tools(tmp_path, "R") == {}


def test_the_page_asks_for_tools_once_and_then_has_them_typed(tmp_path):
    assert "how good are your tools?" in shown("boom", {}, tmp_path)
    known = {field.name: "" for field in BY_NAME["boom"].settings if field.of_tool} | {"gauge_accuracy": "1.3 psi"}
    assert "how good are your tools?" not in shown("boom", known, tmp_path)
    assert '"value":"1.3"' in shown("boom", known, tmp_path)


@pytest.mark.parametrize("kind", ["wheel", "course"])
def test_the_course_of_the_laps_so_far_is_typed_again_after_a_reload(tmp_path, kind):
    session = start(BY_NAME[kind], rig=WALKER if kind == "course" else None, course="100 ft")
    save(session, "typed", pulses="508", time="55 s")
    DraftFile(tmp_path, rig().name, kind).save(session.rows(), datetime(2026, 5, 14, tzinfo=UTC))
    assert '"value":"100"' in shown(kind, {}, tmp_path)
    assert '"value":"100"' not in shown(kind, {}, tmp_path / "other")
