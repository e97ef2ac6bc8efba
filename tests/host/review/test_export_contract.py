"""What every export promises: the same table, and what it is, in each format."""

import json
import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import duckdb
import frictionless
import numpy as np
import openpyxl
import pandas as pd
import pint
import pyarrow.parquet as pq
import pytest

from host.calibrate.cards import snapshot
from host.errors import UserError
from host.journal import JournalWriter
from host.journal.writer import Snapshot
from host.library.opened import open_run
from host.review.about import about_run
from host.review.datapackage import json_bytes
from host.review.export import FORMATS, export_run
from host.review.fields import EVENT_FIELDS, FAULT_FIELDS, PASS_FIELDS, signal_fields
from host.review.review import review_run
from host.simulate.scenario_source import ScenarioSource, run_frames
from tests.host.library.made import short_scenario, write
from tests.host.review.test_calibration_choice import meter_card

DAY = datetime(2026, 5, 14, 9, 15, tzinfo=UTC)
FORMULA = "=HYPERLINK(1)"
ENDINGS = sorted(FORMATS)


@dataclass
class Read:
    """What a stranger's program finds in an export."""

    table: pd.DataFrame
    units: dict[str, str]
    meanings: dict[str, str]
    run: str
    rig: str
    passes: int
    faults: int
    events: list[str]


def read_csv(path):
    package = frictionless.Package(str(path.with_name(path.stem + ".datapackage.json")))
    described = package.resources[0].schema.fields
    about = package.custom["swardflow"]
    return Read(
        pd.read_csv(path, parse_dates=["time_utc"]),
        {field.name: field.custom.get("unit", "") for field in described},
        {field.name: field.description for field in described},
        about["run"],
        about["rig"]["name"],
        len(about["passes"]),
        len(about["faults"]),
        [event["text"] for event in about["events"]],
    )


def read_parquet(path):
    schema = pq.read_schema(path)
    ((text,),) = duckdb.sql(
        f"SELECT decode(value) FROM parquet_kv_metadata('{path}') WHERE decode(key) = 'swardflow'"
    ).fetchall()
    about = json.loads(text)
    table = pd.read_parquet(path)
    assert table.attrs["units"] == {f.name: u for f in schema if (u := f.metadata[b"unit"].decode())}
    return Read(
        table,
        {field.name: field.metadata[b"unit"].decode() for field in schema},
        {field.name: field.metadata[b"description"].decode() for field in schema},
        about["run"],
        about["rig"]["name"],
        len(about["passes"]),
        len(about["faults"]),
        [event["text"] for event in about["events"]],
    )


def read_xlsx(path):
    book = openpyxl.load_workbook(path)
    for sheet in book:
        assert not [cell.value for row in sheet.iter_rows() for cell in row if cell.data_type == "f"]
    sheets = {sheet.title: pd.read_excel(path, sheet_name=sheet.title) for sheet in book}
    columns = sheets["columns"].set_index("name").astype(object).fillna("")
    run = dict(book["run"].values)
    sheets["signals"]["time_utc"] = pd.to_datetime(sheets["signals"]["time_utc"], utc=True)
    return Read(
        sheets["signals"],
        columns["unit"].to_dict(),
        columns["meaning"].to_dict(),
        run["run"],
        run["rig.name"],
        len(sheets["passes"]),
        len(sheets["faults"]),
        sheets["events"]["text"].astype(object).fillna("").tolist(),
    )


READERS = {".csv": read_csv, ".parquet": read_parquet, ".xlsx": read_xlsx}


@pytest.fixture(scope="module")
def frames():
    return run_frames(ScenarioSource(short_scenario()))


@pytest.fixture(scope="module")
def run_path(tmp_path_factory, frames):
    path = tmp_path_factory.mktemp("run") / "green.sward"
    return write(path, frames, short_scenario().rig.toml, DAY, {"area": FORMULA, "weather": "dry"})


@pytest.fixture(scope="module", params=ENDINGS)
def exported(request, run_path, tmp_path_factory):
    out = tmp_path_factory.mktemp("out") / f"green{request.param}"
    export_run(run_path, out, system="si")
    return READERS[request.param](out)


def test_every_format_has_the_same_columns_each_with_unit_and_meaning(exported):
    fields = signal_fields("si")
    assert list(exported.table.columns) == [field.name for field in fields]
    assert exported.units == {field.name: field.unit for field in fields}
    assert exported.meanings == {field.name: field.meaning for field in fields}
    assert all(field.meaning for field in fields)


def test_every_format_has_the_same_numbers(exported, run_path):
    frame = open_run(run_path).frame()
    for name in frame.columns:
        wanted = frame[name].to_numpy(float)
        np.testing.assert_allclose(exported.table[name].to_numpy(float), wanted, rtol=1e-8, atol=1e-12, err_msg=name)


def test_time_is_utc_and_counts_from_the_start(exported):
    wanted = [DAY + timedelta(seconds=s) for s in exported.table["host_time_s"]]
    apart = (exported.table["time_utc"] - pd.Series(wanted)).abs()
    # A spreadsheet keeps a moment as days in one float of 53 bits, and its programs show milliseconds.
    assert apart.max() <= pd.Timedelta(milliseconds=1)
    assert exported.table["time_utc"].dt.tz is not None


def test_every_format_says_what_it_is(exported, run_path):
    review = review_run(run_path)
    assert exported.run == "green"
    assert exported.rig == review.rig.name
    assert (exported.passes, exported.faults) == (len(review.passes), len(review.faults))
    assert f"area={FORMULA}" in exported.events


@pytest.mark.parametrize("fields", [signal_fields("si"), PASS_FIELDS, FAULT_FIELDS, EVENT_FIELDS])
def test_units_are_read_by_pint_and_fit_the_names(fields):
    registry = pint.UnitRegistry()  # the library's own, not the one of this project
    endings = {"s": "s", "m": "m", "m2": "m²", "m3": "m³", "pa": "Pa", "m_s": "m/s", "m3_s": "m³/s", "m3_m2": "m³/m²"}
    for field in fields:
        if field.unit:
            registry.parse_units(field.unit)
        for end in sorted(endings, key=len, reverse=True):
            if field.name.endswith("_" + end):
                assert field.unit == endings[end], field.name
                break


@pytest.mark.parametrize("system", ["us", "metric"])
def test_a_csv_and_its_package_are_valid_for_the_standards_own_library(run_path, tmp_path, system):
    export_run(run_path, tmp_path / "green.csv", system=system)
    report = frictionless.validate(str(tmp_path / "green.datapackage.json"))
    assert report.valid, report.flatten(["rowNumber", "fieldName", "type", "note"])[:5]


def test_calibrations_with_their_dates_and_what_is_known_of_the_versions(frames, tmp_path):
    card = meter_card(450, DAY)
    run = write(tmp_path / "a.sward", frames, short_scenario().rig.toml, DAY, calibrations=snapshot([card]))
    about = about_run(review_run(run))
    assert [(one["kind"], one["made"]) for one in about["calibrations"]] == [(card.kind, card.made.isoformat())]
    assert about["uncertainty"]["meter_relative"] > 0
    assert about["software"]["exported_with"].startswith("swardflow ")
    assert about["rig"]["toml"] == short_scenario().rig.toml


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_run_that_does_not_know_its_start_has_empty_times(frames, tmp_path, ending):
    writer = JournalWriter(tmp_path / "a.sward", Snapshot({}, short_scenario().rig.toml, ()))
    writer.note("area", "half a character: \ud800", 0.0)
    writer.close("complete", "made", 0, 0.0)
    assert export_run(tmp_path / "a.sward", tmp_path / f"a{ending}") == 0
    assert len(READERS[ending](tmp_path / f"a{ending}").table) == 0
    naive = write(tmp_path / "b.sward", frames, short_scenario().rig.toml, DAY.replace(tzinfo=None))
    export_run(naive, tmp_path / f"b{ending}")
    table = READERS[ending](tmp_path / f"b{ending}").table
    assert len(table) == len(frames) and table["time_utc"].isna().all()


@pytest.mark.parametrize("ending", ENDINGS)
def test_what_is_there_is_never_overwritten_and_nothing_half_is_left(run_path, tmp_path, ending):
    out = tmp_path / f"a{ending}"
    out.write_text("mine", encoding="utf-8")
    with pytest.raises(UserError, match="exists already"):
        export_run(run_path, out)
    broken = tmp_path / "b.sward"
    broken.write_bytes(b"no run")
    with pytest.raises(UserError):
        export_run(broken, tmp_path / f"b{ending}")
    assert sorted(path.name for path in tmp_path.iterdir()) == [out.name, "b.sward"]


def test_what_is_not_a_number_is_null_in_what_an_export_says(run_path):
    text = json_bytes({"a": "\ud800"}).decode()
    assert json.loads(text) == {"a": "\ud800"}
    about = about_run(review_run(run_path))
    assert not any(isinstance(v, float) and math.isnan(v) for one in about["passes"] for v in one.values())
