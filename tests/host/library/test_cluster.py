"""The work of a dataset over a real cluster: two workers, one of which is killed on the way."""

import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from host.cli.main import main
from host.errors import NoAnswerError
from host.library.cluster import over_cluster
from host.library.dataset import update_dataset
from host.library.dataset_store import FolderStore
from host.review.dataset_rows import TABLES
from host.simulate.scenario_source import ScenarioSource, run_frames
from tests.host.library.made import short_scenario, write

DAY = datetime(2026, 5, 14, 9, 15, tzinfo=UTC)
RUNS = 24


def started(*arguments, **options):
    command = [sys.executable, "-m", "dask", *arguments]
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **options)


@pytest.fixture
def cluster(tmp_path):
    """(address, two worker processes, neither of which anybody starts again)."""
    contact = tmp_path / "scheduler.json"
    here = {"cwd": tmp_path}
    running = [started("scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", str(contact), **here)]
    try:
        while not (contact.exists() and '"address"' in contact.read_text(encoding="utf-8")):
            assert running[0].poll() is None, "the scheduler has ended"
            time.sleep(0.05)
        address = pl.read_json(contact)["address"][0]
        alone = ("--nworkers", "1", "--nthreads", "1", "--no-nanny", "--no-dashboard")
        running += [started("worker", address, *alone, **here) for _ in range(2)]
        yield address, running[1:]
    finally:
        for process in running:
            process.kill()
            process.wait()


def tables(place):
    return {
        name: pl.read_parquet(f"{place}/{name}/*.parquet").rows() for name in TABLES if list((place / name).glob("*"))
    }


def test_a_worker_killed_on_the_way_changes_no_digit(cluster, tmp_path):
    address, workers = cluster
    frames, rig = run_frames(ScenarioSource(short_scenario())), short_scenario().rig.toml
    (tmp_path / "runs").mkdir()
    for number in range(RUNS):
        write(tmp_path / "runs" / f"{number}.sward", frames, rig, DAY + timedelta(days=2 * number))
    update_dataset(tmp_path / "runs", FolderStore(tmp_path / "alone"))

    from distributed import Client

    with Client(address) as client:
        client.wait_for_workers(2)
    seen = []

    def kill_one_on_the_way(done, whole):
        seen.append(done)
        if done == 3:
            workers[0].kill()

    with over_cluster(address) as spread_over:
        done = update_dataset(
            tmp_path / "runs", FolderStore(tmp_path / "cluster"), spread_over=spread_over, progress=kill_one_on_the_way
        )
    assert workers[0].wait() != 0 and workers[1].poll() is None
    assert (done.runs, done.problems, seen[-1]) == (RUNS, (), RUNS)
    assert tables(tmp_path / "cluster") == tables(tmp_path / "alone")


def test_nobody_at_the_address_is_told():
    with (
        pytest.raises(NoAnswerError, match="no Dask scheduler answers at tcp"),
        over_cluster("tcp://127.0.0.1:9", wait_s=0.1),
    ):
        pass


def test_the_command_goes_over_the_cluster(cluster, tmp_path, capsys):
    address, _ = cluster
    frames, rig = run_frames(ScenarioSource(short_scenario())), short_scenario().rig.toml
    (tmp_path / "runs").mkdir()
    write(tmp_path / "runs" / "a.sward", frames, rig, DAY)
    (tmp_path / "runs" / "bad.sward").write_bytes(b"no run")
    assert main(["dataset", "--out", str(tmp_path / "d"), "--runs", str(tmp_path / "runs"), "--on", address]) == 1
    said = capsys.readouterr()
    assert "1 run, 2 new or changed" in said.out and "bad.sward" in said.err
