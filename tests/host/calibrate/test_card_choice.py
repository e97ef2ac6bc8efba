"""Which cards are used: another one, one less, and that undone; questions answered with --accept."""

import json
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from pathlib import Path

import pytest

from host.calibrate.card_choice import saved_cards, stop_using, undo_choice, use_card
from host.calibrate.cards import apply_cards, load_cards, make_card, save_card
from host.cli import calibrate
from host.cli.main import Parser
from host.errors import BadInputError, NotFoundError, NotSavedError
from host.rig import load_rig

RIG_FILE = str(files("host.rig").joinpath("examples/harrow-lea-pull-behind.toml"))
RIG = load_rig(RIG_FILE)
DAY = datetime(2026, 5, 1, 9, 0, tzinfo=UTC)


def meter_card(folder, day, factor):
    section = {"factor": f"{factor} pulses/L", "uncertainty": "0.7 %"}
    card = make_card("meter", RIG.name, DAY + timedelta(days=day), section, {"result": f"{factor} of them"})
    return save_card(card, folder).stem


def factor(folder):
    """Pulses per litre that a run would be recorded with now."""
    return float(apply_cards(RIG, load_cards(folder, RIG.name)).meter.pulses_per_m3(10.0)) / 1e3


@pytest.fixture
def three(tmp_path):
    """Names of three cards of a meter, 440, 450 and 460 pulses per litre, and one of another rig in the folder."""
    save_card(make_card("boom", "harrow-lea pull behind", DAY, {}, {}), tmp_path)
    return [meter_card(tmp_path, day, 440 + 10 * day) for day in range(3)]


def used(folder):
    return [saved.name for saved in saved_cards(folder, RIG.name) if saved.used]


def test_stop_using_goes_back_to_the_card_before_and_at_last_to_the_rig_file(tmp_path, three):
    assert factor(tmp_path) == pytest.approx(460)
    assert "New runs will use the card of 2026-05-02 09:00." in stop_using(tmp_path, RIG.name, three[2])
    assert factor(tmp_path) == pytest.approx(450)
    stop_using(tmp_path, RIG.name, three[0])
    assert "New runs will use the rig file." in stop_using(tmp_path, RIG.name, three[1])
    assert factor(tmp_path) == pytest.approx(450.0)  # the rig file's own
    assert [saved.name for saved in saved_cards(tmp_path, RIG.name)] == three  # none is lost


def test_using_an_older_card_puts_the_newer_ones_aside_and_undo_brings_them_back(tmp_path, three):
    assert use_card(tmp_path, RIG.name, three[0]).startswith("The card of 2026-05-01 09:00 is in use.")
    assert factor(tmp_path) == pytest.approx(440)
    assert used(tmp_path) == three[:1]
    undo_choice(tmp_path, RIG.name)
    assert (factor(tmp_path), used(tmp_path)) == (pytest.approx(460), three)
    undo_choice(tmp_path, RIG.name)  # of the undo
    assert factor(tmp_path) == pytest.approx(440)
    use_card(tmp_path, RIG.name, three[1])
    assert (factor(tmp_path), used(tmp_path)) == (pytest.approx(450), three[:2])


def test_a_card_of_the_same_second_as_one_put_aside_keeps_its_own_name(tmp_path, three):
    stop_using(tmp_path, RIG.name, three[2])
    again = meter_card(tmp_path, 2, 470)
    assert again == f"{three[2]}-2"
    undo_choice(tmp_path, RIG.name)
    assert used(tmp_path) == [*three, again]


def test_what_cannot_be_chosen(tmp_path, three):
    with pytest.raises(BadInputError, match="in use already"):
        use_card(tmp_path, RIG.name, three[2])
    for choose in (use_card, stop_using):
        with pytest.raises(NotFoundError, match=r"no card \.\./x"):
            choose(tmp_path, RIG.name, "../x")
    with pytest.raises(BadInputError, match="no change of cards to undo"):
        undo_choice(tmp_path, RIG.name)
    stop_using(tmp_path, RIG.name, three[2])
    with pytest.raises(BadInputError, match="is not in use"):
        stop_using(tmp_path, RIG.name, three[2])
    unused = tmp_path / "harrow-lea-pull-behind" / "unused"
    (unused / "last-change.json").write_text("[1")
    with pytest.raises(BadInputError, match="no change of cards to undo"):
        undo_choice(tmp_path, RIG.name)
    (unused / f"{three[2]}.toml").rename(tmp_path / "aside")
    (unused / "last-change.json").unlink()
    unused.rmdir()
    unused.write_text("no folder")
    with pytest.raises(NotSavedError, match="cannot be moved"):
        stop_using(tmp_path, RIG.name, three[1])
    assert used(tmp_path) == three[:2]


@pytest.fixture
def command(tmp_path, capsys):
    def call(*words):
        parser = Parser()
        calibrate.add_arguments(parser.add_subparsers(dest="command").add_parser("calibrate"))
        args = parser.parse_args(["calibrate", *words, "--rig", RIG_FILE, "--cards", str(tmp_path)])
        code = calibrate.run(args)
        return code, capsys.readouterr().out

    return call


SLIP = ("meter", "--catch", "1043", "2.31 gal", "55 s", "--catch", "1039", "2.30 gal", "55 s")
BLOCKED = ("boom", "--catch", "40 psi", "55 s", "1210 mL", "1200 mL", "700 mL", "1205 mL")


def test_a_likely_slip_is_no_card_without_accept(command, tmp_path):
    code, out = command(*SLIP)
    assert code == 1
    assert "! 451.6 pulses/gal, 3.8 times fewer than the 1,703.4 pulses/gal of the rig file: litres typed" in out
    assert "Not saved." in out and "--accept" in out
    assert list(tmp_path.rglob("*.toml")) == []
    answer = json.loads(command(*SLIP, "--json")[1])
    assert answer["card"] is None
    assert "litres typed as gallons" in answer["questions"][0]["text"]
    code, out = command(*SLIP, "--accept")
    assert (code, "New runs will use it." in out) == (0, True)
    assert factor(tmp_path) == pytest.approx(451.6 / 3.785411784, rel=1e-3)
    assert command(*SLIP, "--no-card")[0] == 0  # beside the card that was accepted it is no slip


def test_a_catch_test_with_a_bad_nozzle_is_a_measurement_until_it_is_told_otherwise(command, tmp_path):
    code, out = command(*BLOCKED)
    assert code == 1
    # 700 beside the mean of 1210, 1200 and 1205 mL; 0.35 gal/min are 1214 mL in 55 s.
    assert "Nozzle 3 gives 42 % less than the others and 42 % less than its rating" in out
    assert "Saved as a measurement, and not used" in out
    assert out.count("FAULT") == 1
    assert load_cards(tmp_path, RIG.name) == []
    (saved,) = saved_cards(tmp_path, RIG.name)
    assert saved.card.measurements["catches"][0]["volumes_mL"][2] == 700.0
    listed = json.loads(command("cards", "--json")[1])["cards"]
    assert [(row["card"], row["used"], row["active"]) for row in listed] == [(saved.name, False, False)]
    code, out = command("cards", "--use", saved.name)
    assert "is in use. New runs will use it." in out
    assert [card.kind for card in load_cards(tmp_path, RIG.name)] == ["boom"]
    assert "not used" in command("cards", "--undo")[1]


def test_the_list_says_what_each_card_says(command, three):
    out = command("cards")[1]
    assert "1 of 3 cards in use" in out
    lines = [line for line in out.splitlines() if "of them" in line]
    assert [line.split()[0] for line in lines] == three[::-1]
    assert "in use" in lines[0] and "in use" not in lines[1]


def test_cards_of_before_are_listed_as_well(command, tmp_path):
    kept = Path(__file__).parent / "written_before" / "meter.toml"
    home = tmp_path / "harrow-lea-pull-behind"
    home.mkdir()
    (home / "2026-04-01T090000-meter.toml").write_text(kept.read_text())
    assert "2026-04-01T090000-meter" in command("cards")[1]
