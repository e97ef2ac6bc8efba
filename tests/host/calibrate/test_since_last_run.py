"""Which cards are new since the last run: found in the run files themselves."""

import os
from datetime import UTC, datetime, timedelta

from host.calibrate.cards import make_card
from host.calibrate.since_last_run import cards_of_last_run, new_cards_message
from tests.dashboards.walking import Walk
from tests.dashboards.writing import begin

NAME = "Harrow Lea pull-behind"
DAY = datetime(2026, 5, 1, 9, 0, tzinfo=UTC)


def meter(day, factor=450):
    measured = {"result": f"{factor} pulses/L, good to ±1.2 %"}
    return make_card("meter", NAME, DAY + timedelta(days=day), {"factor": f"{factor} pulses/L"}, measured)


def wheel(day):
    section = {"circumference": "1.2 m", "pulses_per_turn": 10}
    return make_card("wheel", NAME, DAY + timedelta(days=day), section, {})


def run_with(path, cards, modified, rig_toml=None):
    writer, walk = begin(path, rig_toml, cards), Walk()
    for _ in range(3):
        writer.raw_line(walk.report(), walk.time_s)
    writer.close("complete", "test", 0, 1.0)
    os.utime(path, (modified, modified))


def test_a_new_card_is_named_with_its_result():
    assert new_cards_message([meter(1), wheel(0)], [wheel(0)]) == (
        "New since the last run: flow meter, 02 May 09:00, 450 pulses/L, good to ±1.2 %."
    )
    assert "451 pulses/L" in new_cards_message([meter(1), meter(2, 451)], [meter(1)])
    assert new_cards_message([wheel(0), meter(3)], [meter(1), wheel(0), meter(3)]) == ""


def test_an_older_card_that_is_used_again_is_new_to_this_run_and_the_rig_file_is_named():
    assert "01 May" in new_cards_message([meter(0)], [meter(0), meter(1)])
    assert new_cards_message([], [meter(0), wheel(1)]) == "As in the rig file again: flow meter, wheel."


def test_without_a_run_before_nothing_is_said():
    assert new_cards_message([meter(0)], None) == ""


def test_the_last_run_is_the_newest_other_one_of_this_sprayer(tmp_path):
    other = (tmp_path / "2026").resolve()
    other.mkdir()
    run_with(other / "older.sward", [meter(0)], 1000)
    run_with(tmp_path / "newer.sward", [meter(0), wheel(1)], 2000)
    run_with(tmp_path / "now.sward", [meter(5)], 4000)
    someone = RIG_TEXT.replace(NAME, "Another")
    run_with(tmp_path / "another.sward", [], 3000, someone)
    (tmp_path / "torn.sward").write_bytes(b"J garbage\n\x00\xff")
    found = cards_of_last_run(tmp_path, tmp_path / "now.sward", NAME)
    assert found is not None
    assert [card.kind for card in found] == ["meter", "wheel"]
    (tmp_path / "newer.sward").unlink()
    assert [card.kind for card in cards_of_last_run(tmp_path, tmp_path / "now.sward", NAME) or ()] == ["meter"]
    assert cards_of_last_run(tmp_path, tmp_path / "now.sward", "Nobody's") is None
    assert cards_of_last_run(tmp_path / "none", tmp_path / "now.sward", NAME) is None


RIG_TEXT = """
name = "Harrow Lea pull-behind"
[tank]
volume = "25 gal"
[boom]
nozzles = 4
spacing = "20 in"
[nozzle]
flow = "0.35 gpm"
at = "40 psi"
[meter]
factor = "450 pulses/L"
[wheel]
circumference = "1.20 m"
pulses_per_turn = 10
[target]
rate = "1.0 gal/1000 ft2"
"""
