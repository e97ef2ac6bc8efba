"""The registry of kinds: every kind is whole, and one that nothing knows by name is driven like the others."""

import json
from importlib.resources import files

import pytest

from host.calibrate.cards import load_cards
from host.calibrate.kinds import KINDS
from host.calibrate.kinds.kind import fields_of
from host.calibrate.status import calibration_status
from host.cli import calibrate
from host.cli.main import Parser
from tests.host.calibrate import toy_kind
from tests.host.calibrate.rigs import rig

GUIDE = files("host.calibrate").joinpath("CALIBRATING.md").read_text(encoding="utf-8")
CARDS = files("host.calibrate").joinpath("CARDS.md").read_text(encoding="utf-8")
RIG = str(files("host.rig").joinpath("examples/harrow-lea-pull-behind.toml"))
EVERY = (*KINDS, toy_kind.KIND)


@pytest.mark.parametrize("kind", EVERY, ids=lambda kind: kind.name)
def test_a_kind_is_whole(kind):
    assert kind.name.isalpha() and kind.name.islower()
    assert kind.guided.name in [way.name for way in kind.ways]
    assert len({way.name for way in kind.ways}) == len(kind.ways)
    for way in kind.ways:
        assert way is kind.guided or way.option, "a way that is typed has an option of the command"
        assert way is kind.guided or not way.title or way.message
        fields = fields_of(way.fields, 3)
        assert len({field.name for field in fields}) == len(fields)
        assert not way.each or len(fields) == 1
    for field in (*kind.settings, *(field for way in kind.ways for field in way.fields)):
        assert field.label and field.example("us") and field.example("metric")


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_every_kind_is_in_the_guides(kind):
    assert f"swardflow calibrate {kind.name} " in GUIDE
    assert f"`{kind.name}`" in CARDS
    assert f"\n| {kind.name} " in CARDS, "what its uncertainty is made of"


def test_no_two_kinds_share_a_name():
    assert len({kind.name for kind in KINDS}) == len({kind.title for kind in KINDS}) == len(KINDS)


def run(capsys, *words):
    parser = Parser()
    calibrate.add_arguments(parser.add_subparsers(dest="command").add_parser("calibrate"), EVERY)
    args = parser.parse_args(["calibrate", *words, "--rig", RIG])
    code = calibrate.run(args)
    return code, capsys.readouterr().out


def test_a_toy_kind_through_the_command(tmp_path, capsys):
    words = ("hose", "--hose", "10 m", "--times", "4 s", "6 s", "--cards", str(tmp_path), "--units", "metric")
    code, out = run(capsys, *words)
    assert code == 0
    assert "7.20 km/h in the hose" in out  # 10 m in 5 s
    (card,) = load_cards(tmp_path, "Harrow Lea pull-behind")
    assert card.measurements == {"result": "7.20 km/h in the hose", "speed_m_s": 2.0}
    assert json.loads(run(capsys, *words, "--json")[1])["speed_km_per_h"] == pytest.approx(7.2)
    listed = run(capsys, "cards", "--cards", str(tmp_path))[1]
    assert "Hose" in listed and "7.20 km/h in the hose" in listed
    (status,) = [one for one in calibration_status(rig(), [card], EVERY) if one.kind == "hose"]
    assert (status.title, status.plus_minus) == ("Hose", "± 10.0 %")


def test_the_command_explains_a_toy_kind(capsys):
    parser = Parser()
    calibrate.add_arguments(parser.add_subparsers(dest="command").add_parser("calibrate"), EVERY)
    with pytest.raises(SystemExit):
        parser.parse_args(["calibrate", "hose", "--help"])
    out = capsys.readouterr().out
    assert "TIME …, such as: --times" in " ".join(out.split())
    assert "--guided" in out and "--port" not in out
