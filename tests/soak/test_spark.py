"""A dataset read by Apache Spark: the guide's questions, answered as DuckDB answers them.

Needs `pip install pyspark` and a Java runtime (Debian's default-jre-headless); skipped without either.
"""

import re
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import duckdb
import polars as pl
import pytest

from host.library.dataset import Reading, update_dataset
from host.library.dataset_store import FolderStore
from host.review.dataset_rows import TABLES
from host.simulate.scenario_source import ScenarioSource, run_frames
from tests.host.library.made import short_scenario, write

pytestmark = [
    pytest.mark.soak,
    pytest.mark.skipif(not shutil.which("java"), reason="no Java: Debian's default-jre-headless has one"),
    # Spark leaves its sockets to the end of the process.
    pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning"),
]
ROOT = Path(__file__).parents[2]
DAY = datetime(2026, 5, 14, 9, 15, tzinfo=UTC)


@pytest.fixture(scope="module")
def spark(tmp_path_factory):
    pyspark = pytest.importorskip("pyspark.sql")
    folder = tmp_path_factory.mktemp("spark")
    builder = pyspark.SparkSession.builder.master("local[1]").config("spark.sql.session.timeZone", "UTC")
    builder = builder.config("spark.ui.enabled", "false").config("spark.sql.shuffle.partitions", "1")
    builder = builder.config("spark.driver.bindAddress", "127.0.0.1").config("spark.driver.host", "127.0.0.1")
    session = builder.config("spark.sql.warehouse.dir", str(folder)).getOrCreate()
    yield session
    session.stop()


@pytest.fixture(scope="module")
def dataset(tmp_path_factory):
    """Eight sound runs, the recording of a clog, and a second rig whose boom opens by 1 % in ten days."""
    place = tmp_path_factory.mktemp("fleet")
    (place / "runs").mkdir()
    frames = run_frames(ScenarioSource(short_scenario()))
    for number in range(8):
        write(place / "runs" / f"a{number}.sward", frames, short_scenario().rig.toml, DAY + timedelta(days=5 * number))
    recording = ROOT / "recordings/2026-05-14T0915-harrow-lea-pleasure-grounds.sward"
    shutil.copy(recording, place / "runs")
    update_dataset(place / "runs", FolderStore(place / "all-rigs"), reading=Reading(signals=True))
    for part in list((place / "all-rigs/runs").glob("*.parquet")):
        rows = pl.read_parquet(part)
        days = (pl.col("started_utc") - pl.lit(DAY)).dt.total_seconds() / 86_400
        worn = rows.with_columns(
            rig=pl.lit("worn"), coefficient_m3_s_pa05=pl.col("coefficient_m3_s_pa05") * (1 + days * 0.001)
        )
        worn.write_parquet(part.with_name(f"w-{part.name}"))
    return place / "all-rigs"


def test_spark_answers_the_questions_of_the_guide_as_duckdb_does(spark, dataset):
    guide = (ROOT / "host/library/DATASET.md").read_text(encoding="utf-8")
    for question in re.findall(r"```sql\n(.*?)```", guide, re.DOTALL):
        here = question.replace("all-rigs", str(dataset))
        # What the guide says to change for Spark, and no more.
        there = re.sub(r"'([^']*\.parquet)'", r"parquet.`\1`", here).replace("epoch(", "unix_seconds(")
        wanted, found = duckdb.sql(here).fetchall(), [tuple(row) for row in spark.sql(there).collect()]
        assert wanted and len(found) == len(wanted)
        for row, other in zip(found, wanted, strict=True):
            for value, same in zip(row, other, strict=True):
                assert value == (pytest.approx(same, rel=1e-9) if isinstance(same, float) else same)


def test_spark_reads_every_table(spark, dataset):
    for table in ("signals/*", *TABLES):
        files = f"{dataset}/{table}/*.parquet"
        assert spark.read.parquet(files).count() == pl.scan_parquet(files).select(pl.len()).collect().item()
    started = spark.read.parquet(f"{dataset}/runs/*.parquet").selectExpr("unix_seconds(min(started_utc))").first()[0]
    assert started == pl.read_parquet(f"{dataset}/runs/*.parquet")["started_utc"].min().timestamp()
