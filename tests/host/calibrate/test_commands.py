"""The command calibrate, as a user gives it."""

import json
import re
import tomllib
from importlib.resources import files

import numpy as np
import pytest

from firmware_protocol.messages import Report, encode_report
from host.calibrate.cards import apply_cards, load_cards
from host.cli import calibrate
from host.cli.main import Parser
from host.errors import UserError
from host.journal import Snapshot, records
from host.rig import load_rig

EXAMPLES = files("host.rig").joinpath("examples")
US, METRIC = (str(EXAMPLES / f"harrow-lea-{name}.toml") for name in ("pull-behind", "walker"))
GOOD_METER = [
    "--catch",
    "1043",
    "2.31 L",
    "55 s",
    "--catch",
    "1039",
    "2.30 L",
    "55 s",
    "--catch",
    "1051",
    "2.33 L",
    "55 s",
]
GOOD_BOOM = ["--catch", "40 psi", "55 s", "1210 mL", "1200 mL", "1215 mL", "1205 mL"]


@pytest.fixture
def command(tmp_path, capsys):
    def call(*words, rig=US):
        parser = Parser()
        calibrate.add_arguments(parser.add_subparsers(dest="command").add_parser("calibrate"))
        cards = [] if "--cards" in words else ["--cards", str(tmp_path)]
        args = parser.parse_args([*words, "--rig", rig, *cards])
        code = calibrate.run(args)
        return code, capsys.readouterr().out

    return call


def test_meter_from_typed_catches_to_an_active_card(command, tmp_path):
    code, out = command("calibrate", "meter", *GOOD_METER)
    assert code == 0
    assert "1,708.9 pulses/gal, good to ±3.1 %" in out
    card = next(tmp_path.rglob("*-meter.toml"))
    assert str(card) in out
    assert len(tomllib.loads(card.read_text())["measurements"]["catches"]) == 3
    rig = load_rig(US)
    applied = apply_cards(rig, load_cards(tmp_path, rig.name))
    assert float(applied.meter.pulses_per_m3(20)) == pytest.approx(1708.9 / 3.785411784e-3, rel=1e-4)


def test_meter_in_json_with_units_in_the_keys(command):
    code, out = command("calibrate", "meter", *GOOD_METER, "--json", "--units", "metric")
    answer = json.loads(out)
    assert code == 0
    assert answer["curve"][0]["factor_pulses_per_L"] == pytest.approx(451.4, abs=0.1)
    # 0.8 % assumed with 4 degrees of freedom, 2 more from catches that agree: 0.66/√3, t(6) = 2.447; a kitchen jug's
    # 10 mL marks, read alike: 0.13 %; its scale is even within 3 %. 95 % of the sum by drawing it a million times.
    rng = np.random.default_rng(1)
    scale = rng.uniform(-3.0, 3.0, 1_000_000)
    by_hand = np.quantile(np.abs(scale + rng.normal(0, np.hypot(0.66 / 3**0.5 * 2.447 / 1.96, 0.13), scale.size)), 0.95)
    assert answer["uncertainty"]["expanded_percent"] == pytest.approx(by_hand, abs=0.02)
    assert answer["card"].endswith("-meter.toml")


def test_meter_by_weight_takes_the_temperature(command):
    weighed = ["--catch", "1043", "2.31 kg", "--no-card", "--json"]
    cold = json.loads(command("calibrate", "meter", *weighed, "--water", "10 °C")[1])
    warm = json.loads(command("calibrate", "meter", *weighed, "--water", "86 °F")[1])
    ratio = warm["catches"][0]["volume_gal"] / cold["catches"][0]["volume_gal"]
    assert ratio == pytest.approx(999.7027 / 995.6488, rel=2e-5)  # Tanaka et al. (2001), 10 and 30 °C
    assert cold["card"] is None


def test_an_outlier_is_said_and_gives_exit_code_1(command):
    values = ["2.00 L", "2.01 L", "2.15 L", "2.00 L", "2.00 L"]
    code, out = command("calibrate", "meter", *(word for one in values for word in ("--catch", "900", one, "60 s")))
    assert code == 1
    assert "! Catch 3 is" in out


def test_pressure_wheel_course_and_the_list_of_cards(command, tmp_path):
    code, out = command(
        "calibrate", "pressure", "--zero", "104", "--point", "20 psi", "266", "--point", "40 psi", "430"
    )
    assert code == 0
    assert "-0.2 psi at 10 % and 100.1 psi at 90 %" in out
    assert (
        "4.724 in per pulse" in command("calibrate", "wheel", "--course", "200 ft", "--pulses", "508", "509", "507")[1]
    )
    out = command("calibrate", "course", "--course", "200 ft", "--times", "55 s", rig=METRIC)[1]
    assert "3.64 ft/s" in out  # common practice
    listed = json.loads(command("calibrate", "cards", "--json")[1])["cards"]
    assert [(row["kind"], row["active"]) for row in listed] == [("wheel", True), ("pressure", True)]
    rig = load_rig(US)
    assert apply_cards(rig, load_cards(tmp_path, rig.name)).pressure != rig.pressure
    assert (
        "No cards: the rig file's numbers are used"
        in command("calibrate", "cards", "--cards", str(tmp_path / "x"), rig=METRIC)[1]
    )


def test_boom_that_is_sound(command):
    code, out = command("calibrate", "boom", *GOOD_BOOM, "--speed", "2.5 mph")
    assert code == 0
    assert re.search(r"Coefficient of variation +0\.5 %", out)
    assert re.search(r"Rate at 2\.50 mph \(± is 95 %\) +0\.95 ± 0\.\d\d gal/1000 ft²", out)
    assert re.search(r"2\.3\d mph at this pressure, or 44\.\d psi at 2\.50 mph", out)


def test_boom_that_breaks_the_square_root_law(command):
    low, high = ["30 psi", "55 s", *["1000 mL"] * 4], ["35 psi", "55 s", *["1300 mL"] * 4]
    code, out = command("calibrate", "boom", "--catch", *low, "--catch", *high)
    assert code == 1
    assert "the square-root law allows +8.0 %" in out
    assert "Suspect: the gauge" in out
    answer = json.loads(command("calibrate", "boom", "--catch", *low, "--catch", *high, "--json")[1])
    assert any("square-root law" in finding["text"] for finding in answer["findings"])
    assert answer["catches"][0]["nozzles"][0]["verdict"] == "ok"


MISTAKES = {
    "0 s": (["calibrate", "boom", "--catch", "40 psi", "0 s", *["1 L"] * 4], 'the time is "0 s": give one above zero'),
    "0 s of meter": (["calibrate", "meter", "--catch", "900", "2 L", "0 s"], 'the time is "0 s": give one above zero'),
    "negative volume": (["calibrate", "meter", "--catch", "900", "-2 L"], "must be above zero"),
    "pressure for a volume": (["calibrate", "boom", "--catch", "40 psi", "55 s", "30 psi", *["1 L"] * 3], "a volume"),
    "one nozzle missing": (["calibrate", "boom", *GOOD_BOOM[:-1]], "5 values and needs 6 for a boom of 4 nozzles"),
    "different length": (
        ["calibrate", "boom", *GOOD_BOOM, "--catch", "30 psi", "55 s", *["1 L"] * 5],
        "--catch 2 has 7 values and needs 6",
    ),
    "no catch": (["calibrate", "boom"], "nothing was caught yet"),
    "no catch of meter": (["calibrate", "meter"], "no catch was given"),
    "pulses as text": (["calibrate", "meter", "--catch", "many", "2 L"], "--catch 1, pulses"),
    "one value": (["calibrate", "meter", "--catch", "900"], "has 1 value and needs 2 or 3"),
    "four values": (["calibrate", "meter", "--catch", "900", "2 L", "5 s", "x"], "has 4 values"),
    "mixed": (["calibrate", "boom", "--catch", "40 psi", "55 s", "1 L", "1 L", "1 kg", "1 L"], "not both"),
    "ounces of what": (["calibrate", "meter", "--catch", "900", "43 oz"], 'write "fl oz" for a jug'),
    "step of another kind": (["calibrate", "meter", "--catch", "900", "2 L", "--step", "1 g"], "smallest step"),
    "lighter than empty": (["calibrate", "meter", "--catch", "900", "1 kg", "--empty", "2 kg"], "weigh it again"),
    "boiling": (["calibrate", "meter", "--catch", "900", "1 kg", "--water", "100 °C"], "outside 0 to 40 °C"),
    "tank balance": (["calibrate", "meter", "--tank-balance", "10 L", "12 L", "5000"], "leaves nothing sprayed"),
    "no such run": (["calibrate", "meter", "--from-run", "no.sward", "1", "2", "2 L"], "there is no run no.sward"),
    "accuracy": (["calibrate", "meter", "--catch", "900", "2 L", "--accuracy", "95 %"], "beyond 50 %"),
    "no points": (["calibrate", "pressure"], "no point was given"),
    "gauge below zero": (["calibrate", "pressure", "--zero", "100", "--gauge-accuracy=-5 psi"], "cannot be below zero"),
    "counts as text": (["calibrate", "pressure", "--zero", "low"], "give a number"),
    "not a count": (["calibrate", "pressure", "--zero", "nan"], "give a number"),
    "scale": (["calibrate", "pressure", "--zero", "100", "--full-scale", "0"], "--full-scale"),
    "no course": (["calibrate", "course", "--course", "60 m", "--times", "55 s"], "no [course] section"),
    "course in gallons": (["calibrate", "wheel", "--course", "60 gal", "--pulses", "500"], "not a length"),
}  # fmt: skip


@pytest.mark.parametrize("name", MISTAKES)
def test_each_mistake_gets_one_sentence_and_leaves_no_card(command, tmp_path, name):
    words, says = MISTAKES[name]
    with pytest.raises(UserError) as caught:
        command(*words)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
    assert list(tmp_path.rglob("*.toml")) == []


def test_a_rig_without_a_transducer(command, tmp_path):
    text = (EXAMPLES / "harrow-lea-walker.toml").read_text(encoding="utf-8")
    bare = tmp_path / "bare.toml"
    bare.write_text(re.sub(r"\[pressure\].*?\n\n", "", text, flags=re.DOTALL), encoding="utf-8")
    with pytest.raises(UserError, match=r"no \[pressure\] section"):
        command("calibrate", "pressure", "--zero", "100", rig=str(bare))


def test_an_interval_of_a_recorded_run(command, tmp_path):
    lines = []
    for number in range(100):
        flowed = min(max(number - 19, 0) * 10, 600)
        report = Report(3, number, 100_000 * number, flowed, 2_000_000 + 10_000 * flowed, 0, 0, 0, 0, 0, 0, 0, 0)
        lines.append(records.raw_record(encode_report(report), 0.1 * (number + 1)))
        if number in (10, 95):
            text = "begin" if number == 10 else "end"
            lines.append(records.json_record("E", 0.1 * (number + 1), {"kind": "mark", "text": text}))
    path = tmp_path / "some.sward"
    path.write_bytes(b"".join(Snapshot({}, "").records() + lines))
    words = ["calibrate", "meter", "--from-run", str(path), "begin", "end", "1.35 L", "--json", "--units", "metric"]
    answer = json.loads(command(*words)[1])
    assert answer["catches"][0]["pulses"] == 600
    assert answer["catches"][0]["frequency_hz"] == pytest.approx(100)


def test_catches_that_agree_beside_the_rating_are_not_said_to_contradict_each_other(command):
    """Four nozzles within half a per cent of each other, 16 % above their rating: tips of another size, say."""
    _, out = command("calibrate", "boom", "--catch", "40 psi", "55 s", "1403 mL", "1392 mL", "1409 mL", "1398 mL")
    assert "% more than its rating" in out and "do not fit together" not in out


def test_the_terminal_has_the_budget_one_option_away(command):
    words = ("calibrate", "boom", *GOOD_BOOM)
    assert "--all prints more: Uncertainty" in command(*words)[1]
    _, out = command(*words, "--all")
    assert "Largest part: scale of the jug. To improve it, weigh the catches" in out and "Part  " in out
