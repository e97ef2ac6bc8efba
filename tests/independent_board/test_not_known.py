"""What the board cannot measure, or never said, is not known: no figure, no fault and no verdict rests on it.

The rule is PROTOCOL.md's, section 10: "shows that as not known, never as 0". The board is written from that page alone.
"""

from __future__ import annotations

import json
import math
from dataclasses import asdict

import numpy as np
import pandas as pd
import pytest

from dashboards.live.screen import screen_row
from host.documents.json import to_json
from host.documents.text import format_text
from host.frames import Event
from host.pipeline import Pipeline, Settled, Signals, live_row
from host.review.about import about_run
from host.review.digest import digest_from_json, digest_of, digest_to_json
from host.review.review import review_of
from host.review.run_document import run_document
from host.review.run_table import SettledTable
from host.rig import rig_from_toml
from tests.independent_board.board import Board
from tests.independent_board.cases import NO_WHEEL, PLAN
from tests.independent_board.lines import Who
from tests.independent_board.reading import rig_toml, run_file
from tests.independent_board.sprayer import spray

NO_METER, NO_METER_NO_SWITCH = 0x0E, 0x06
OF_GROUND = ("area", "volume_on_ground", "spraying_time", "off_target_time", "off_target_area", "stationary_volume")


def run_of(who: Who, sent: bool = True, **rig):
    rng = np.random.default_rng(5)
    lines = Board(who).lines(spray(PLAN, rng), rng) if sent else []
    ended = Event(lines[-1][0] + 1.0 if lines else 150.0, 10**9, "run_end", {"reason": "stopped"})
    return run_file(lines, [ended]), rig_from_toml(rig_toml(PLAN, **rig))


def review_of_board(who: Who, sent: bool = True, **rig):
    return review_of(*run_of(who, sent, **rig))


def said_of(review) -> tuple[dict, str]:
    document = run_document(review, "metric")
    return json.loads(json.dumps(to_json(document), allow_nan=False)), format_text(document)


def under(totals: dict, *names: str) -> list:
    return [value for key, value in totals.items() for name in names if key == name or key.startswith(f"{name}_")]


def test_a_board_without_a_flow_meter_input_has_no_volume_anywhere() -> None:
    review = review_of_board(Who(capabilities=NO_METER))
    said, text = said_of(review)
    assert said["answer"] == "What was sprayed is not known: the board has no flow meter input."
    assert set(under(said["totals"], "volume", *OF_GROUND, "unassigned_volume", "tank_left", "rate")) == {None}
    assert said["totals"]["distance_m"] > 80
    assert said["tank"]["metered_L"] is None and said["tank"]["left_by_count_L"] is None
    assert " 0.0 L" not in text and "No pass is known." in text
    assert "the spray was switched on for 1 min" in text and "how much went down is not known" in text
    assert not review.faults and "Without pulses of the flow meter only" in text and "None found" not in text
    assert "not known: measure it" in text  # the area of the record to keep


def test_a_board_without_flow_meter_and_switch_inputs_does_not_know_whether_it_sprayed() -> None:
    said, text = said_of(review_of_board(Who(capabilities=NO_METER_NO_SWITCH)))
    assert "whether it sprayed is not known" in text and "switched on for" not in text
    assert "Nothing was sprayed" not in text and said["totals"]["volume_L"] is None


def test_a_board_without_a_wheel_input_knows_the_volume_and_no_ground() -> None:
    sprayed = review_of_board(Who())
    said, text = said_of(review_of_board(Who(capabilities=NO_WHEEL)))
    assert said["answer"] == "No ground is known, so there is no rate: see what is not assigned."
    assert set(under(said["totals"], "distance", "rate", "unassigned_distance", *OF_GROUND)) == {None}
    assert said["totals"]["volume_L"] == pytest.approx(1000 * sprayed.totals.volume_m3, rel=0.01)
    assert said["not_assigned"] and all(one["distance_m"] is None for one in said["not_assigned"])
    assert not said["faults"] and " 0.0 m" not in text


def test_with_a_timed_course_the_missing_wheel_input_costs_nothing() -> None:
    review = review_of_board(Who(capabilities=NO_WHEEL), wheel=False)
    assert review.verdict is not None and review.totals.area_m2 > 100


def test_a_board_that_sends_nothing_is_not_a_run_without_spraying() -> None:
    review = review_of_board(Who(), sent=False)
    said, text = said_of(review)
    assert said["answer"] == "What was sprayed is not known: no report of the board was read."
    assert "Nothing came from the board: is it the right port, has the board power?" in text
    figures = {key: value for key, value in said["totals"].items() if not key.startswith("target")}
    assert set(figures.values()) == {None}, figures
    assert said["tank"]["left_by_count_L"] is None and not said["faults_looked_for"]
    assert "Not looked for: no report of the board was read." in text and "None found" not in text


def test_reports_of_another_protocol_are_not_a_run_without_spraying() -> None:
    said, text = said_of(review_of_board(Who(protocol="2.0")))
    assert said["answer"] == "What was sprayed is not known: no report of the board was read."
    assert "protocol 2.0" in text and "Nothing came from the board" not in text
    assert said["totals"]["volume_L"] is None and not said["faults_looked_for"]


def test_a_board_that_falls_silent_before_the_end_of_the_run_is_said() -> None:
    rng = np.random.default_rng(5)
    lines = [(at, line) for at, line in Board().lines(spray(PLAN, rng), rng) if at < 60]
    ended = Event(200.0, 10**9, "run_end", {})
    text = said_of(review_of(run_file(lines, [ended]), rig_from_toml(rig_toml(PLAN))))[1]
    assert "to the end: nothing came from the board. What was sprayed then is not known: up to " in text


def test_a_meter_that_is_fitted_later_gives_a_rate_from_then_on_and_no_total() -> None:
    """Another board in mid run, or new firmware: what was missed stays missed."""
    run, rig = run_of(Who())
    half = len(run.frames) // 2
    first = next(event for event in run.events if event.kind == "identity")
    run.events = [
        Event(0.0, 0, "identity", first.detail | {"capabilities": NO_METER}),
        Event(1.0, half, "identity", first.detail),
    ]
    totals = review_of(run, rig).totals
    assert totals.rate_m3_m2 == pytest.approx(rig.target.rate_m3_m2, rel=0.1)
    assert math.isnan(totals.volume_m3) and math.isnan(totals.tank_left_m3)
    assert totals.hidden_m2 == pytest.approx(totals.area_m2, rel=0.3)  # the other half of the passes


@pytest.mark.parametrize("capabilities", [NO_METER, NO_METER_NO_SWITCH, NO_WHEEL])
def test_the_digest_and_the_export_hold_nothing_for_what_is_not_known(capabilities) -> None:
    review = review_of_board(Who(capabilities=capabilities))
    digest = digest_of(review)
    assert digest.area_m2 is None and digest.spraying_s is None and digest.standing_m3 is None
    assert (digest.volume_m3 is None) == (capabilities != NO_WHEEL)
    kept = json.loads(json.dumps(digest_to_json(digest), allow_nan=False))
    assert asdict(digest_from_json(kept)) == asdict(digest)
    json.dumps(about_run(review), allow_nan=False, default=str)


@pytest.mark.parametrize("capabilities", [NO_METER, NO_METER_NO_SWITCH, NO_WHEEL])
def test_the_live_screen_shows_dashes_for_what_is_not_known(capabilities) -> None:
    run, rig = run_of(Who(capabilities=capabilities))
    pipeline = Pipeline(rig)
    middle = len(run.frames) // 2
    live = live_row(pipeline, pipeline.push(run.frames[:middle], run.events[:1]))
    json.dumps(live, allow_nan=False)
    shown = screen_row(live | {"frame": middle, "tank_low_m3": rig.tank.warn_m3}, "metric")
    assert (shown["area"], shown["rate"], shown["pace_wanted"], shown["off_target"]) == ("–", "–", "–", "–")
    assert not shown["fault"]
    if capabilities == NO_WHEEL:
        assert shown["pace"] == "–" and shown["sprayed"].endswith("not assigned")
    else:
        assert (shown["flow"], shown["tank"], shown["sprayed"]) == ("–", "–", "volume not known")
        assert shown["advice"] in ("wait", "idle") and float(shown["pace"]) >= 0


def test_garbage_on_an_input_that_the_board_does_not_have_makes_no_fault() -> None:
    """Flags and counts of inputs that are not fitted: whatever a bare pin says."""
    run, rig = run_of(Who(capabilities=0))
    assert len(run.frames) > 500
    noise = np.random.default_rng(1)
    run.frames["flow_count"] = np.cumsum(noise.integers(0, 9, len(run.frames)))
    run.frames["wheel_count"] = np.cumsum(noise.integers(0, 2, len(run.frames)))
    run.frames["flow_edge"] = run.frames["wheel_edge"] = run.frames["clock"] - 1000
    run.frames["pressure_mean"] = run.frames["pressure_min"] = run.frames["pressure_max"] = 0
    run.frames["flags"] = noise.integers(0, 2, len(run.frames)) | 6
    review = review_of(run, rig)
    assert not review.faults and not review.refused and not review.passes
    assert math.isnan(review.totals.volume_m3) and math.isnan(review.totals.distance_m)


def test_with_a_mix_and_no_rate_the_product_is_not_known() -> None:
    run, rig = run_of(Who(capabilities=NO_METER))
    noted = review_of(run, rig, later_notes={"mix": "20 mL/L"})
    assert "Without a rate it is not known how much product went down." in said_of(noted)[1]
    assert "Start a run with its mixing sheet" in said_of(review_of(run, rig))[1]


@pytest.mark.parametrize("capabilities", [0x0F, NO_METER, NO_WHEEL])
def test_an_exported_table_leaves_ground_empty_that_was_not_measured(capabilities) -> None:
    run, rig = run_of(Who(capabilities=capabilities))
    made, rows = SettledTable("si", None), []

    def each(of: Signals | Settled) -> None:
        made.push(of) if isinstance(of, Signals) else rows.append(made.settle(of))

    review = review_of(run, rig, each=each)
    table = pd.concat(rows)
    assert len(table) == len(run.frames)
    if capabilities == 0x0F:
        assert not table[["row_area_m2", "area_m2", "volume_m3", "distance_m"]].isna().any().any()
        assert table["row_area_m2"].sum() == pytest.approx(review.totals.area_m2)
        return
    for name in ("row_area_m2", "area_m2", "volume_on_ground_m3", "stationary_time_s", "spraying_time_s"):
        assert table[name].isna().all(), name
    assert table["volume_m3"].isna().all() == (capabilities == NO_METER)
    assert table["distance_m"].isna().all() == (capabilities == NO_WHEEL)
    assert table["unassigned_time_s"].iloc[-1] == pytest.approx(review.totals.unassigned_s)
