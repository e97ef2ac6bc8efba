"""New sprayers ask their board for 50 ms; a rig file that does not say leaves it as it is, also when it is changed."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from dashboards.setup.form import form_view
from host.cli.main import main
from host.rig import load_rig
from host.rig.known import example_rigs
from host.setup.answers import answers_from_tree, rig_from_answers
from host.setup.questions import BY_NAME, REPORT_INTERVAL

pytest.importorskip("dash")

RIG = """name = "Old boom"
[tank]
volume = "12 gal"
[boom]
nozzles = 4
spacing = "20 in"
[nozzle]
flow = "0.30 gpm"
at = "40 psi"
[meter]
factor = "450 pulses/L"
[course]
distance = "200 ft"
time = "60 s"
[target]
rate = "1.0 gal/1000 ft2"
"""
NEW = {
    "name": "New boom", "nozzles": "4", "spacing": "20 in", "tip-flow": "0.30 gpm", "tip-at": "40 psi",
    "tank": "12 gal", "factor": "450 pulses/L", "travel": "course", "course-distance": "200 ft", "course-time": "60 s",
    "transducer": "no", "rate": "1.0 gal/1000 ft2",
}  # fmt: skip


def described(runs: Path, **more: str) -> int | None:
    options = [word for name, value in (NEW | more).items() for word in (f"--{name}", value)]
    assert main(["rig", "new", *options, "--runs", str(runs)]) in (0, 1)
    (path,) = (runs / "rigs").glob("*.toml")
    return load_rig(path).report_interval_ms


def test_a_new_sprayer_asks_for_50_ms_or_for_what_is_said(tmp_path: Path) -> None:
    assert described(tmp_path / "a") == 50
    assert described(tmp_path / "b", **{"report-interval": "100 ms"}) == 100
    assert {known.rig.report_interval_ms for known in example_rigs() if known.rig} == {50}


def test_a_file_that_does_not_say_is_left_so_by_a_change() -> None:
    tree = tomllib.loads(RIG)
    answers = answers_from_tree(tree)
    assert REPORT_INTERVAL not in answers
    assert rig_from_answers(answers, tree).report_interval_ms is None


@pytest.mark.parametrize(
    ("answers", "shown", "offered"),
    [
        ({}, "50 ms", 2),
        (answers_from_tree(tomllib.loads(RIG)), "100 ms", 2),
        (answers_from_tree(tomllib.loads('report_interval = "200 ms"\n' + RIG)), "200 ms", 3),
    ],
)
def test_the_form_shows_what_the_file_comes_to(answers: dict[str, str], shown: str, offered: int) -> None:
    found = []

    def look(part: object) -> None:
        if getattr(part, "options", None) and REPORT_INTERVAL in str(getattr(part, "id", "")):
            found.append(part)
        children = getattr(part, "children", None)
        for child in children if isinstance(children, list | tuple) else [children] if children is not None else []:
            look(child)

    for part in form_view("us", answers, "kept"):
        look(part)
    (chips,) = found
    assert chips.value == shown and len(chips.options) == offered
    assert BY_NAME[REPORT_INTERVAL].more
