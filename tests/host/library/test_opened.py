"""Runs in Python: tables that say what they are, and a guide that works as written."""

import re
import shutil
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import host
from host.errors import UserError
from host.review.fields import EVENT_FIELDS, FAULT_FIELDS, PASS_FIELDS, signal_fields
from host.review.review import review_run
from host.simulate.scenario_source import ScenarioSource, run_frames
from tests.host.library.made import short_scenario, write

DAY = datetime(2026, 5, 14, 9, 15, tzinfo=UTC)
ROOT = Path(__file__).parents[3]
CLOG = ROOT / "recordings/2026-05-14T0915-harrow-lea-pleasure-grounds.sward"
GUIDE = ROOT / "host/PYTHON.md"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs")
    frames, rig = run_frames(ScenarioSource(short_scenario())), short_scenario().rig.toml
    write(folder / "a.sward", frames, rig, DAY, {"area": "far lawn"})
    (folder / "2025").mkdir()
    write(folder / "2025" / "b.sward", frames, rig, DAY.replace(year=2025))
    return folder


@pytest.mark.parametrize("system", ["si", "us", "metric"])
def test_a_frame_is_by_time_in_utc_with_units_and_meanings(folder, system):
    frame = host.open_run("a", folder=folder).frame(system)
    fields = signal_fields(system)[1:]
    assert isinstance(frame.index, pd.DatetimeIndex) and str(frame.index.tz) == "UTC"
    assert frame.index[0] == pd.Timestamp(DAY) + pd.Timedelta(frame["host_time_s"].iloc[0], "s").round("us")
    assert list(frame.columns) == [field.name for field in fields]
    assert frame.attrs["units"] == {field.name: field.unit for field in fields if field.unit}
    assert set(frame.attrs["descriptions"]) == set(frame.columns)


def test_units_of_the_rig_are_those_of_the_screens(folder):
    run = host.open_run("a", folder=folder)
    # 1 US gal = 3.785411784 L (NIST Handbook 44, Appendix C).
    np.testing.assert_allclose(run.frame("rig")["volume_gal"] * 3.785411784e-3, run.frame()["volume_m3"], rtol=1e-12)
    with pytest.raises(UserError, match='"si", "us", "metric" or "rig"'):
        run.frame("furlongs")


def test_tables_say_what_the_review_says():
    run, review = host.open_run(CLOG), review_run(CLOG)
    assert run.passes["rate_m3_m2"].tolist() == [one.rate_m3_m2 for one in review.passes]
    assert run.faults["cause"].tolist() == ["clog"]
    assert run.faults["began_utc"][0] == pd.Timestamp(review.started) + pd.Timedelta(
        review.faults[0].began_s, "s"
    ).round("us")
    assert run.events["kind"].tolist() == ["run_start", "run_end"]
    for table, fields in ((run.passes, PASS_FIELDS), (run.faults, FAULT_FIELDS), (run.events, EVENT_FIELDS)):
        assert list(table.columns) == [field.name for field in fields]
        assert set(table.attrs["descriptions"]) == set(table.columns)


def test_a_run_without_faults_has_an_empty_table_of_the_same_columns(folder):
    faults = host.open_run("a", folder=folder).faults
    assert len(faults) == 0 and list(faults.columns) == [field.name for field in FAULT_FIELDS]
    assert str(faults["began_utc"].dtype).endswith("UTC]")


def test_a_run_that_does_not_know_its_start_goes_by_the_time_since(folder, tmp_path):
    frames = run_frames(ScenarioSource(short_scenario()))
    path = write(tmp_path / "n.sward", frames, short_scenario().rig.toml, DAY.replace(tzinfo=None))
    frame = host.open_run(path).frame()
    assert frame.index.name == "time_since_start" and frame.index.is_monotonic_increasing
    assert host.open_run(path).passes["start_utc"].isna().all()


def test_runs_of_a_folder(folder, tmp_path):
    shutil.copytree(folder, tmp_path / "runs")
    shutil.copy(folder / "a.sward", tmp_path / "runs" / "copy.sward")
    runs = host.open_runs(tmp_path / "runs")
    assert [run.name for run in runs] == ["b", "a", "copy"]
    assert sorted(runs.passes()["run"]) == ["a", "b"]
    assert len(runs.faults()) == 0 and runs.faults().columns[0] == "run"
    assert runs[-1].review().notes["area"] == "far lawn"
    with pytest.raises(UserError):
        host.open_runs(tmp_path / "nothing")


def test_the_guide_works_as_written(folder, monkeypatch, capsys):
    (home := folder.parent / "home").mkdir(exist_ok=True)
    (home / "swardflow-runs").symlink_to(folder)
    monkeypatch.setenv("HOME", str(home))
    blocks = re.findall(r"```python\n(.*?)```", GUIDE.read_text(encoding="utf-8"), re.DOTALL)
    assert len(blocks) >= 8
    names: dict[str, object] = {}
    for block in blocks:
        exec(compile(block, str(GUIDE), "exec"), names)
    assert "2 ['b', 'a']" in capsys.readouterr().out
