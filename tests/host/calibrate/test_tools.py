"""The tools that were said once are offered the next time, and asked about until then."""

from plotly.io.json import to_json_plotly

from dashboards.calibrate.fields import settings_of
from host.calibrate.kinds import KINDS
from host.calibrate.tools import keep_tools, last_tools
from tests.host.calibrate.rigs import rig

BY_NAME = {kind.name: kind for kind in KINDS}


def shown(kind, tools):
    return to_json_plotly(settings_of(BY_NAME[kind], rig(), tools))


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


def test_the_page_asks_for_tools_once_and_then_has_them_typed():
    assert "how good are your tools?" in shown("boom", {})
    known = {field.name: "" for field in BY_NAME["boom"].settings if field.of_tool} | {"gauge_accuracy": "1.3 psi"}
    assert "how good are your tools?" not in shown("boom", known)
    assert '"value":"1.3"' in shown("boom", known)
