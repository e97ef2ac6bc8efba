"""A dataset keeps to the runs: once each, whatever they are called, and only what has changed is read."""

import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import dask.dataframe as dd
import duckdb
import frictionless
import pandas as pd
import polars as pl
import pyarrow.parquet as pq
import pytest

from host.cli.main import main
from host.errors import UserError
from host.library.dataset import Reading, update_dataset
from host.library.dataset_store import FolderStore, store_at
from host.library.later_notes import add_note
from host.review.calibration_choice import Under
from host.review.dataset_rows import PRIMARY_KEYS, TABLES
from host.review.review import review_run
from host.rig import rig_from_toml
from host.simulate.scenario_source import ScenarioSource, run_frames
from tests.host.library.made import short_scenario, write

DAY = datetime(2026, 5, 14, 9, 15, tzinfo=UTC)
RIG = short_scenario().rig.toml


@pytest.fixture(scope="module")
def frames():
    return run_frames(ScenarioSource(short_scenario()))


@pytest.fixture
def runs(tmp_path, frames):
    folder = tmp_path / "runs"
    folder.mkdir()
    write(folder / "a.sward", frames, RIG, DAY, {"area": "far lawn", "product": "=2+3"})
    write(folder / "b.sward", frames, RIG, DAY + timedelta(days=40))
    write(folder / "c.sward", frames, RIG, DAY + timedelta(days=1))
    return folder


@pytest.fixture
def store(tmp_path):
    return FolderStore(tmp_path / "dataset")


def table(store, name):
    return pd.read_parquet(f"{store.place}/{name}")


def everything(store):
    """Every table to the last digit, without the stamps, which go with the files' times."""
    return {
        name: pl.read_parquet(f"{store.place}/{name}/*.parquet").drop("stamp", "source", strict=False).rows()
        for name in TABLES
        if store.names(name)
    }


def counted(folder, store, **options):
    """What an update read, by file."""
    read = []

    def spread(work, tasks):
        read.extend(task.file for task in tasks)
        return map(work, tasks)

    done = update_dataset(folder, store, spread_over=spread, **options)
    return sorted(read), done


def test_only_what_has_changed_is_read(runs, store, frames):
    assert counted(runs, store)[0] == ["a.sward", "b.sward", "c.sward"]
    before = everything(store)
    assert counted(runs, store)[0] == [] and everything(store) == before
    add_note(runs / "c.sward", "area", "rose walk", DAY)
    write(runs / "d.sward", frames, RIG, DAY + timedelta(days=2))
    read, done = counted(runs, store)
    assert read == ["c.sward", "d.sward"]
    assert (done.runs, done.read, done.gone, done.problems) == (4, 2, 0, ())
    assert sorted(table(store, "runs")["site"]) == ["", "", "far lawn", "rose walk"]


def test_a_run_counts_once_under_a_renamed_rig_in_another_folder_and_on_another_day(runs, store, tmp_path):
    update_dataset(runs, store)
    volume = table(store, "runs")["volume_m3"].sum()
    renamed = Under(rig=rig_from_toml(RIG.replace("Harrow Lea bowling green boom", "Renamed")))
    read, done = counted(runs, store, reading=Reading(renamed))
    assert len(read) == 3 and done.runs == 3
    assert set(table(store, "passes")["rig"]) == {"Renamed"}
    runs.rename(tmp_path / "moved")
    assert update_dataset(tmp_path / "moved", store).runs == 3
    assert table(store, "runs")["volume_m3"].sum() == volume
    (tmp_path / "moved" / "2026").mkdir()
    (tmp_path / "moved" / "a.sward").rename(tmp_path / "moved" / "2026" / "a.sward")
    assert update_dataset(tmp_path / "moved", store).runs == 3


def test_a_run_whose_start_is_put_right_moves_to_its_month(runs, store, frames):
    update_dataset(runs, store)
    (runs / "b.sward").unlink()
    write(runs / "b.sward", frames, RIG, DAY + timedelta(days=400))
    assert update_dataset(runs, store).runs == 3
    assert store.names("runs") == ["runs/2026-05.parquet", "runs/2027-06.parquet"]
    assert len(table(store, "passes")) == 3


def test_a_copy_is_told_and_not_counted_and_told_again(runs, store):
    (runs / "kept").mkdir()
    (runs / "kept" / "renamed.sward").write_bytes((runs / "a.sward").read_bytes())
    for _ in range(2):
        done = update_dataset(runs, store)
        assert done.runs == 3
        (problem,) = done.problems
        assert "is a copy of" in problem
    (runs / "a.sward").unlink()
    (runs / "kept" / "renamed.sward").touch()
    done = update_dataset(runs, store)
    assert (done.runs, done.problems) == (3, ())


def test_deleted_runs_leave_and_those_of_another_folder_stay(runs, store, tmp_path, frames):
    (tmp_path / "other").mkdir()
    write(tmp_path / "other" / "x.sward", frames, RIG.replace("Harrow Lea", "Second crew's"), DAY)
    update_dataset(runs, store, reading=Reading(signals=True))
    update_dataset(tmp_path / "other", store, reading=Reading(signals=True))
    assert len(store.names("signals")) == 4
    (runs / "b.sward").unlink()
    done = update_dataset(runs, store, reading=Reading(signals=True))
    assert (done.runs, done.gone) == (3, 1)
    assert sorted(table(store, "runs")["run"]) == ["a", "c", "x"]
    assert sorted(set(table(store, "passes")["run"])) == ["a", "c", "x"]
    assert len(store.names("signals")) == 3
    assert store.names("runs") == ["runs/2026-05.parquet"]


def test_a_dataset_of_a_version_with_fewer_columns_is_added_to(runs, store, tmp_path, frames):
    (tmp_path / "other").mkdir()
    write(tmp_path / "other" / "x.sward", frames, RIG, DAY + timedelta(days=3))
    update_dataset(tmp_path / "other", store)
    (path,) = (Path(store.place) / "runs").glob("*.parquet")
    pq.write_table(pq.read_table(path).drop_columns(["not_known", "over_target"]), path)
    update_dataset(runs, store)
    kept = table(store, "runs").set_index("run")
    assert pd.isna(kept.loc["x", "not_known"]) and not pd.isna(kept.loc["a", "not_known"])
    # Shares of all ground; no ground of these runs went unseen.
    here = kept.loc["a"]
    assert here["over_target"] == pytest.approx(here["over_m2"] / here["area_m2"])
    assert here[["on_target", "over_target", "under_target", "not_known"]].sum() == pytest.approx(1.0)


def test_what_cannot_be_read_is_named_each_time_and_leaves_the_rest_alone(runs, store):
    (runs / "bad.sward").write_bytes(b"no run")
    first, again = update_dataset(runs, store), update_dataset(runs, store)
    assert first.problems == again.problems and "bad.sward" in first.problems[0]
    assert (first.read, again.read, again.runs) == (4, 0, 3)
    (runs / "bad.sward").unlink()
    assert update_dataset(runs, store).problems == ()


@pytest.mark.parametrize("writes", range(1, 9))
def test_an_update_cut_off_at_any_file_is_put_right_by_the_next(runs, tmp_path, frames, writes):
    class CutOff(FolderStore):
        left = writes

        def write(self, name, data):
            if self.left == 0:
                raise KeyboardInterrupt
            self.left -= 1
            super().write(name, data)

    whole = FolderStore(tmp_path / "whole")
    update_dataset(runs, FolderStore(tmp_path / "cut"))
    (runs / "a.sward").unlink()
    write(runs / "c.sward.new", frames, RIG, DAY + timedelta(days=70))
    (runs / "c.sward.new").replace(runs / "c.sward")
    update_dataset(runs, whole)
    try:
        update_dataset(runs, CutOff(tmp_path / "cut"))
    except KeyboardInterrupt:
        ids = table(FolderStore(tmp_path / "cut"), "runs")["run_id"]
        assert ids.is_unique
    update_dataset(runs, FolderStore(tmp_path / "cut"))
    assert everything(FolderStore(tmp_path / "cut")) == everything(whole)


def test_any_order_of_work_gives_the_same_tables(runs, tmp_path):
    forward, backward = FolderStore(tmp_path / "f"), FolderStore(tmp_path / "b")
    update_dataset(runs, forward)
    update_dataset(runs, backward, spread_over=lambda work, tasks: map(work, reversed(tasks)))
    assert everything(forward) == everything(backward)


@pytest.mark.filterwarnings("ignore")  # what Dask itself makes of a new pandas
def test_four_engines_read_the_same_totals(runs, store):
    update_dataset(runs, store, reading=Reading(signals=True))
    wanted = sum(review_run(path).totals.volume_m3 for path in sorted(runs.glob("*.sward")))
    place = f"{store.place}/runs/*.parquet"
    totals = {
        "pandas": pd.read_parquet(f"{store.place}/runs")["volume_m3"].sum(),
        "polars": pl.read_parquet(place)["volume_m3"].sum(),
        "duckdb": duckdb.sql(f"SELECT sum(volume_m3) FROM '{place}'").fetchall()[0][0],
        "dask": dd.read_parquet(place)["volume_m3"].sum().compute(),
    }
    assert totals == pytest.approx(dict.fromkeys(totals, wanted), rel=1e-12)
    # Rows of a run's signals, summed, are its volume on known ground.
    ground = duckdb.sql(
        f"SELECT sum(s.row_volume_on_ground_m3), any_value(r.ground_m3) FROM '{store.place}/signals/*/*.parquet' s "
        f"JOIN '{place}' r USING (run_id) GROUP BY run_id"
    ).fetchall()
    assert len(ground) == 3
    for signals, run in ground:
        assert signals == pytest.approx(run, rel=1e-9)


def test_the_descriptor_says_what_is_there(runs, store):
    update_dataset(runs, store, reading=Reading(signals=True))
    package = frictionless.Package(f"{store.place}/datapackage.json")
    assert sorted(package.resource_names) == sorted({"signals", *TABLES} - {"faults"})
    written = json.loads(store.read("datapackage.json"))["resources"]
    for resource, paths in zip(package.resources, (one["path"] for one in written), strict=True):
        assert paths == store.names(resource.name)
        schema = pq.read_schema(f"{store.place}/{paths[0]}")
        assert [field.name for field in resource.schema.fields] == schema.names
        for field in schema if resource.name != "signals" else ():
            assert field.metadata[b"description"].decode() == resource.schema.get_field(field.name).description
        for key in PRIMARY_KEYS.get(resource.name, ()):
            assert key in schema.names
    assert package.custom["swardflow"]["format"] == 2


def test_folders_of_other_things_and_older_datasets_are_left_alone(runs, tmp_path):
    (tmp_path / "old" / "runs" / "rig=x").mkdir(parents=True)
    (tmp_path / "old" / "runs" / "rig=x" / "a.parquet").write_bytes(b"PAR1")
    (tmp_path / "package").mkdir()
    (tmp_path / "package" / "datapackage.json").write_text('{"name": "another"}', encoding="utf-8")
    for name in ("old", "package"):
        with pytest.raises(UserError, match="holds no dataset that this Swardflow adds to"):
            update_dataset(runs, FolderStore(tmp_path / name))
    with pytest.raises(UserError, match="cannot be listed"):
        update_dataset(tmp_path / "nothing", FolderStore(tmp_path / "new"))


def test_a_store_by_url_holds_the_same(runs, store):
    update_dataset(runs, store)
    place = store_at("memory://season")
    update_dataset(runs, place)
    assert place.names("runs") == store.names("runs")
    assert place.read("runs/2026-05.parquet") == store.read("runs/2026-05.parquet")
    (runs / "b.sward").unlink()
    assert update_dataset(runs, place).runs == 2
    with pytest.raises(UserError, match="cannot be opened"):
        store_at("nosuch://x")


def test_absurd_notes_and_no_start_are_kept_as_they_are(tmp_path, frames, store):
    folder = tmp_path / "odd"
    folder.mkdir()
    write(folder / "a.sward", frames, RIG, DAY.replace(tzinfo=None), {"area": "half: \ud800", "mix": "much"})
    done = update_dataset(folder, store)
    assert (done.runs, done.problems) == (1, ())
    row = table(store, "runs").iloc[0]
    assert row["started"] == "2026-05-14T09:15:00" and pd.isna(row["started_utc"])
    assert store.names("runs") == ["runs/unknown.parquet"]
    assert "much" in row["remark"]


def test_the_command_says_what_it_did(runs, tmp_path, capsys):
    out = str(tmp_path / "d")
    assert main(["dataset", "--out", out, "--runs", str(runs), "--site", "lawn"]) == 0
    assert "1 run, 1 new or changed, 0 gone" in capsys.readouterr().out
    assert main(["dataset", "--out", out, "--runs", str(runs), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"dataset": out, "runs": 3, "read": 2, "gone": 0, "left_out": []}


def test_work_is_done_in_other_processes_too(runs, store, tmp_path):
    from host.library.worker_pool import spread

    update_dataset(runs, store, spread_over=lambda work, tasks: spread(work, tasks, 2))
    alone = FolderStore(tmp_path / "alone")
    update_dataset(runs, alone)
    assert everything(store) == everything(alone)


def test_the_questions_of_the_guide_are_answered(tmp_path, frames, monkeypatch):
    guide = (Path(__file__).parents[3] / "host/library/DATASET.md").read_text(encoding="utf-8")
    season, drift, faults = re.findall(r"```sql\n(.*?)```", guide, re.DOTALL)
    folder = tmp_path / "runs"
    folder.mkdir()
    for number in range(8):
        write(folder / f"a{number}.sward", frames, RIG, DAY + timedelta(days=5 * number))
    update_dataset(folder, FolderStore(tmp_path / "all-rigs"))
    # A second rig whose boom opens by 1 % each ten days: its rows are the first one's, with c moved by hand. In its
    # first run half of the ground is not known.
    path = tmp_path / "all-rigs" / "runs"
    for part in list(path.glob("*.parquet")):
        rows = pl.read_parquet(part)
        days = (pl.col("started_utc") - pl.lit(DAY)).dt.total_seconds() / 86_400
        moved = pl.col("coefficient_m3_s_pa05") * (1 + days * 0.001)
        half = pl.when(pl.col("started_utc") == pl.lit(DAY))
        rows.with_columns(
            rig=pl.lit("worn"),
            coefficient_m3_s_pa05=moved,
            hidden_m2=half.then(pl.col("area_m2")).otherwise(0.0),
            on_target=half.then(pl.col("on_target") / 2).otherwise(pl.col("on_target")),
        ).write_parquet(path / f"w-{part.name}")
    monkeypatch.chdir(tmp_path)
    by_rig = duckdb.sql(season).fetchall()
    assert [(row[0], row[1]) for row in by_rig] == [("Harrow Lea bowling green boom", 8), ("worn", 8)]
    review = review_run(folder / "a0.sward")
    assert by_rig[0][4] == pytest.approx(review.totals.rate_m3_m2)
    # Eight runs of the same ground, and a ninth of it whose ground is not known.
    assert [row[5] for row in by_rig] == pytest.approx([review.verdict.on, review.verdict.on * 8 / 9])
    ((rig, runs, slope, slope_u),) = duckdb.sql(drift).fetchall()
    # Over 35 days the mean has grown by 1.75 %: 10 % in a hundred days, relative to that mean.
    assert (rig, runs) == ("worn", 8) and slope == pytest.approx(10 / 1.0175, rel=1e-6) and slope_u < 0.01
    (tmp_path / "clog").mkdir()
    recording = Path(__file__).parents[3] / "recordings/2026-05-14T0915-harrow-lea-pleasure-grounds.sward"
    (tmp_path / "clog" / recording.name).write_bytes(recording.read_bytes())
    update_dataset(tmp_path / "clog", FolderStore(tmp_path / "clogged"))
    ((cause, count, rigs, area),) = duckdb.sql(faults.replace("all-rigs", "clogged")).fetchall()
    assert (cause, count, rigs) == ("clog", 1, 1) and area > 200
