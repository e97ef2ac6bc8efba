"""A run followed by another program: every report once, the same figures as the review's."""

import gc
import json
import subprocess
import sys

import pytest

from dashboards.live.run_screen import RunScreen
from host.cli.main import main
from host.errors import UserError
from host.journal import JournalWriter, read_run
from host.journal.writer import Snapshot
from host.pipeline import Settled
from host.recorder.live_rows import LiveRows
from host.review.review import review_run
from tests.host.library.made import simulated_run
from tests.host.review.test_dataset import DAY


@pytest.fixture(scope="module")
def run_path(tmp_path_factory):
    return simulated_run(tmp_path_factory.mktemp("run") / "a.sward", DAY, {"area": "lawn"})


@pytest.mark.parametrize("block", [1 << 20, 4096, 700])
def test_any_cutting_gives_every_report_once(run_path, block):
    rows, whole = LiveRows("a"), LiveRows("a")
    data = run_path.read_bytes()
    wanted = list(whole.push(data))
    got = [row for at in range(0, len(data), block) for row in rows.push(data[at : at + block])]
    assert got == wanted and rows.ended and whole.ended
    assert [row["host_s"] for row in got] == read_run(run_path).frames["host_s"].tolist()
    totals = review_run(run_path).totals
    assert got[-1]["volume_m3"] == totals.volume_m3
    assert got[-1]["area_m2"] == pytest.approx(totals.area_m2, rel=1e-9)


@pytest.mark.parametrize("reader", [LiveRows("a"), RunScreen("a")])
def test_what_is_settled_does_not_pile_up(run_path, reader):
    """The pages' server grew by 4.4 MB an hour."""
    data, most = run_path.read_bytes(), 0
    gc.collect()
    others = sum(isinstance(one, Settled) for one in gc.get_objects())
    for at in range(0, len(data), 700):
        rows = reader.push(data[at : at + 700])
        list(rows) if isinstance(reader, LiveRows) else reader.row()
        most = max(most, sum(isinstance(one, Settled) for one in gc.get_objects()) - others)
    assert reader.ended and most == 1


def test_the_command_prints_lines_of_json_and_ends_with_the_run(run_path, capsys):
    assert main(["tell", str(run_path), "follow"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == len(read_run(run_path).frames)
    row = json.loads(lines[-1])
    assert row["run"] == "a" and {"flow_m3_s", "speed_m_s", "rate_m3_m2", "faults", "advice"} <= row.keys()


def test_a_reader_that_goes_ends_it_quietly(run_path):
    command = f"{sys.executable} -m host.cli.main tell {run_path} follow | head -1"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) and done.stderr == ""


def test_a_run_cut_off_ends_with_1_and_one_without_a_rig_is_refused(run_path, tmp_path, capsys):
    cut = tmp_path / "cut.sward"
    cut.write_bytes(run_path.read_bytes()[:-400])
    assert main(["tell", str(cut), "follow"]) == 1
    assert capsys.readouterr().out
    writer = JournalWriter(tmp_path / "none.sward", Snapshot({}, "", ()))
    writer.close("complete", "made", 0, 0.0)
    lines = [line for line in run_path.read_bytes().splitlines(True) if line.startswith(b"L")]
    with pytest.raises(UserError, match="rig"):
        list(LiveRows("x").push(b"".join(lines)))
