"""The calibration cards in force when a run begins stand in its file, and live and review read it under them."""

from __future__ import annotations

from argparse import Namespace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from dashboards.live.run_screen import RunScreen
from host.calibrate.cards import make_card, save_card
from host.cli.record import plan_of
from host.errors import UserError
from host.journal import JournalWriter, Snapshot, read_run
from host.review.calibration_choice import RECORDED
from host.review.review import review_run
from tests.host.pipeline.made import RIG, steady
from tests.host.review.test_review import lines_of


@pytest.fixture
def run_under_a_card(tmp_path: Path) -> Path:
    rig = tmp_path / "rig.toml"
    rig.write_text(RIG, encoding="utf-8")
    made = datetime(2026, 5, 1, 9, tzinfo=UTC)
    save_card(
        make_card("meter", "Test rig", made, {"factor": "500 /L", "uncertainty": "0.4 %"}, {}), tmp_path / "cards"
    )
    args = Namespace(rig=rig, note=[], tank=None, mix=None, cards=tmp_path / "cards", runs=tmp_path)
    plan = plan_of(args)
    path = tmp_path / "run.sward"
    writer = JournalWriter(path, Snapshot({"started": "2026-05-14T09:15:00+01:00"}, plan.rig_toml, plan.calibrations))
    writer.event("run_start", 0.0, tank_m3=0.03)
    for host_s, line in lines_of(steady(400)):
        writer.raw_line(line, host_s)
    writer.close("complete", "done", 0, 40.0)
    return path


def test_review_reads_a_run_under_the_cards_it_was_recorded_with(run_under_a_card: Path) -> None:
    review = review_run(run_under_a_card)
    assert review.rig.meter.pulses_per_m3(40.0) == pytest.approx(500_000)
    assert review.rig.meter.relative_uncertainty == pytest.approx(0.004)
    pulses = 399 * 4
    assert review.totals.volume_m3 == pytest.approx(pulses / 500_000, rel=1e-9)
    # The rig file's own text is kept beside it, untouched.
    assert read_run(run_under_a_card).rig_toml == RIG


def test_a_run_is_not_begun_with_a_note_that_cannot_be(tmp_path: Path) -> None:
    rig = tmp_path / "rig.toml"
    rig.write_text(RIG, encoding="utf-8")
    args = Namespace(rig=rig, note=["mix=20"], tank=None, mix=None, cards=tmp_path / "cards", runs=tmp_path)
    with pytest.raises(UserError, match='note "mix" is "20"'):
        plan_of(args)


@pytest.mark.parametrize("piece", [1 << 20, 97])
def test_the_live_page_reads_it_under_them_too(run_under_a_card: Path, piece: int) -> None:
    screen = RunScreen("run")
    data = run_under_a_card.read_bytes()
    for start in range(0, len(data), piece):
        screen.push(data[start : start + piece])
    assert screen.notice == ""
    live = screen._pipeline  # the numbers on the screen are rounded; what they are worked out from is not
    assert live is not None
    assert live.rig == RECORDED.read(read_run(run_under_a_card))[0]
    # The run has ended, and so has its pass.
    assert [one.volume_m3 for one in live.passes] == [one.volume_m3 for one in review_run(run_under_a_card).passes]
    assert live.passes
