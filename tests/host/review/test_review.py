"""A recorded run, reviewed."""

import json
from dataclasses import fields

import numpy as np
import pandas as pd
import pytest

from firmware_protocol.messages import Report, encode_identity, encode_report
from host.documents.json import to_json
from host.documents.text import format_text
from host.errors import UserError
from host.journal import JournalWriter, RunReader, read_run
from host.journal.writer import Snapshot
from host.pipeline import Pass, Pipeline, Settled, Signals, joined
from host.pipeline.columns import EXPORTED
from host.review import review_run
from host.review.calibration_choice import Under
from host.review.columns import PASS_COLUMNS, SETTLED_COLUMNS, TOTAL_COLUMNS
from host.review.export import export_run
from host.review.review import signals_of
from host.review.run_document import run_document
from host.review.totals import Totals, totals_of
from host.rig import rig_from_toml
from tests.host.pipeline.made import NAMED, RIG, made_frames

SPRAY = np.concatenate([np.zeros(20), np.ones(250), np.zeros(60), np.ones(250), np.zeros(30)])


def lines_of(frames):
    for row in frames:
        values = row.tolist()
        yield values[0], encode_report(Report(*values[1:]))


def record(path, frames, *, rig=RIG, damage_every=0, finish=True):
    writer = JournalWriter(path, Snapshot({"started": "2026-05-14T09:15:00+01:00"}, rig))
    writer.event("run_start", 0.0, tank_m3=0.05)
    writer.note("product", "clean water", 0.0)
    writer.raw_line(encode_identity(NAMED), 0.0)
    for number, (host_s, line) in enumerate(lines_of(frames)):
        damaged = damage_every and number % damage_every == damage_every - 1
        writer.raw_line(line[:40] + b"?" + line[41:] if damaged else line, host_s)
        if number == 300:
            writer.event("refill", host_s, to_m3=0.06)
    writer.flush()
    if finish:
        writer.event("run_end", float(frames["host_s"][-1]))
        writer.close("complete", "stopped by the operator", 0, float(frames["host_s"][-1]))
    return path


@pytest.fixture
def run_path(tmp_path):
    return record(tmp_path / "run.sward", made_frames(40.0 * SPRAY, np.full(len(SPRAY), 10.0), SPRAY))


def test_review_of_two_passes(run_path):
    review = review_run(run_path)
    assert review.health.complete
    assert [p.number for p in review.passes] == [1, 2]
    assert review.totals.area_m2 == pytest.approx(50.0 * 2.0, rel=0.01)
    assert review.totals.volume_m3 == pytest.approx(50 * 40 / 600_000, rel=0.01)
    assert review.totals.rate_m3_m2 == pytest.approx(4e-3 / 60 / 2.0, rel=0.01)
    assert review.notes == {"product": "clean water"}
    assert review.at(review.passes[0].start_s).startswith("09:15:0")


def test_live_and_review_agree_to_the_last_digit(run_path):
    # Live follows the file's bytes as they come; review reads it whole. Same numbers, bit for bit.
    reader, pipeline, parts = RunReader(), Pipeline(rig_from_toml(RIG)), []
    data = run_path.read_bytes()
    rng = np.random.default_rng(5)
    place = 0
    while place < len(data):
        step = int(rng.integers(1, 700))
        batch = reader.push(data[place : place + step])
        parts.append(pipeline.push(batch.frames, batch.events))
        place += step
    batch = reader.finish()
    parts.append(pipeline.push(batch.frames, batch.events))
    pipeline.finish()
    live = joined(parts)

    run = read_run(run_path)
    again = Pipeline(rig_from_toml(run.rig_toml))
    reviewed = joined(list(signals_of(run, again)))
    for column in fields(Signals):
        np.testing.assert_array_equal(getattr(live, column.name), getattr(reviewed, column.name))
    assert repr(pipeline.passes) == repr(again.passes)
    assert totals_of(pipeline, live) == totals_of(again, reviewed) == review_run(run_path).totals


def test_without_the_watch_over_faults_all_else_is_the_same(run_path):
    with_watch, without = review_run(run_path), review_run(run_path, watch_faults=False)
    assert with_watch.totals == without.totals
    assert repr(with_watch.passes) == repr(without.passes)
    assert without.faults == []


def test_refills_reach_the_tank(run_path):
    review = review_run(run_path)
    assert review.totals.tank_left_m3 == pytest.approx(0.06 - 250 * 4 / 600_000, abs=2e-5)


def test_damaged_lines_cost_themselves_and_nothing_else(tmp_path, run_path):
    frames = made_frames(40.0 * SPRAY, np.full(len(SPRAY), 10.0), SPRAY)
    damaged = review_run(record(tmp_path / "damaged.sward", frames, damage_every=10))
    whole = review_run(run_path)
    assert damaged.health.wire_damage == len(frames) // 10
    assert damaged.health.lost_frames == pytest.approx(len(frames) // 10, abs=1)
    assert damaged.totals.volume_m3 == pytest.approx(whole.totals.volume_m3, abs=8 / 600_000)
    assert damaged.totals.area_m2 == pytest.approx(whole.totals.area_m2, rel=0.01)


def test_a_run_cut_off_is_reviewed_as_far_as_it_goes_and_said_to_be_cut_off(tmp_path):
    frames = made_frames(40.0 * SPRAY, np.full(len(SPRAY), 10.0), SPRAY)
    review = review_run(record(tmp_path / "cut.sward", frames, finish=False))
    assert not review.health.complete
    assert review.health.status == "no end record"
    assert "Not complete" in format_text(run_document(review, "metric"))


def test_an_old_run_under_another_rig(run_path):
    under = Under(rig_from_toml(RIG.replace("600 /L", "500 /L")))
    before = run_path.read_bytes()
    again = review_run(run_path, under=under).totals.volume_m3
    assert again == pytest.approx(1.2 * review_run(run_path).totals.volume_m3)
    assert run_path.read_bytes() == before


def test_a_run_whose_rig_cannot_be_read_asks_for_one(tmp_path):
    frames = made_frames(40.0 * SPRAY, np.full(len(SPRAY), 10.0), SPRAY)
    path = record(tmp_path / "run.sward", frames)
    path.write_bytes(b"".join(line for line in path.read_bytes().splitlines(True) if not line.startswith(b"G ")))
    with pytest.raises(UserError, match="another rig file"):
        review_run(path)


def test_a_run_without_frames(tmp_path):
    path = record(tmp_path / "none.sward", made_frames(np.zeros(1), np.zeros(1), np.zeros(1))[:0], finish=False)
    review = review_run(path)
    assert np.isnan(review.totals.volume_m3)
    assert review.totals.rate_m3_m2 is None
    assert "No pass" in format_text(run_document(review, "us"))


@pytest.mark.parametrize("system", ["us", "metric"])
def test_json_has_units_in_its_keys_and_no_nan(run_path, system):
    review = review_run(run_path)
    out = json.loads(json.dumps(to_json(run_document(review, system)), allow_nan=False))
    if system == "metric":
        assert out["totals"]["rate_L_per_100_m2"] == pytest.approx(review.totals.rate_m3_m2 * 1e5)
        assert out["passes"][0]["distance_m"] == review.passes[0].distance_m
    else:
        # 1 US gal = 3.785411784 L (NIST Handbook 44, Appendix C).
        assert out["totals"]["volume_gal"] == pytest.approx(review.totals.volume_m3 * 1000 / 3.785411784)
    assert [event["kind"] for event in out["events"]] == ["run_start", "identity", "refill", "run_end"]


def test_the_text_says_what_the_json_says(run_path):
    text = format_text(run_document(review_run(run_path), "metric"))
    assert "1.80 to 2.20 L/100 m²" in text
    assert "clean water" in text
    assert "09:15:0" in text


def test_every_signal_pass_value_and_total_is_exported():
    provisional = {"pass_number"}  # a first word of the live page: an export has the settled one in its place
    assert EXPORTED.keys() | provisional == {column.name for column in fields(Signals)}
    of_the_band = {
        "ends_m2",
        "ends_doubt_m",
        "stops_m6",
        "stops_doubt_m3",
    }  # parts of the ± that every pass and the totals state
    assert set(SETTLED_COLUMNS) | of_the_band == {column.name for column in fields(Settled)}
    assert set(TOTAL_COLUMNS) | {"doubt"} == {column.name for column in fields(Totals)}
    assert set(PASS_COLUMNS) == {column.name for column in fields(Pass)}


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_export_reads_back_in_pandas(tmp_path, run_path, ending):
    out = tmp_path / f"run{ending}"
    rows = export_run(run_path, out)
    table = pd.read_csv(out) if ending == ".csv" else pd.read_parquet(out)
    run = read_run(run_path)
    signals = joined(list(signals_of(run, Pipeline(rig_from_toml(RIG)))))
    assert rows == len(table) == len(run.frames)
    np.testing.assert_allclose(table["volume_L"], signals.volume_m3 * 1000, rtol=1e-8)
    np.testing.assert_allclose(table["rate_L_per_100_m2"], signals.rate_m3_m2 * 1e5, rtol=1e-8)
    assert table["spraying"].tolist() == signals.spraying.tolist()
    assert list(tmp_path.glob("*.unfinished")) == []


def test_export_does_not_overwrite(tmp_path, run_path):
    out = tmp_path / "there.csv"
    out.write_text("mine", encoding="utf-8")
    with pytest.raises(UserError, match="exists already"):
        export_run(run_path, out)
    assert out.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("name", ["run.ods", "run"])
def test_export_knows_its_endings(tmp_path, run_path, name):
    with pytest.raises(UserError, match=r"\*\.csv, \*\.parquet or \*\.xlsx"):
        export_run(run_path, tmp_path / name)


def test_export_to_a_place_that_is_not_there(tmp_path, run_path):
    with pytest.raises(UserError, match="cannot be written"):
        export_run(run_path, tmp_path / "no" / "such.csv")


def test_rows_summed_by_pass_are_the_reviews_passes_and_the_last_row_its_totals(tmp_path, run_path):
    export_run(run_path, tmp_path / "run.csv", system="metric")
    review = review_run(run_path)
    table = pd.read_csv(tmp_path / "run.csv")
    by_pass = table[table["pass"] > 0].groupby("pass").sum()
    for one in review.passes:
        row = by_pass.loc[one.number]
        assert row["row_volume_on_ground_L"] == pytest.approx(one.volume_m3 * 1e3, rel=1e-8)
        assert row["row_area_m2"] == pytest.approx(one.area_m2, rel=1e-8)
        assert row["row_sprayed_distance_m"] == pytest.approx(one.distance_m, rel=1e-8)
        assert row["row_spraying_time_s"] == pytest.approx(one.spraying_s, rel=1e-8)
    last = table.iloc[-1]
    assert last["area_m2"] == float(f"{review.totals.area_m2:.9g}")
    assert last["volume_L"] == float(f"{review.totals.volume_m3 * 1e3:.9g}")
    assert last["stationary_volume_L"] == float(f"{review.totals.standing_m3 * 1e3:.9g}")
