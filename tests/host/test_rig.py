import re
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol.messages import Capability, FilterRule, filter_argument
from host.errors import UserError
from host.rig import filter_arguments, load_rig, rig_from_toml

EXAMPLES = sorted(files("host.rig").joinpath("examples").iterdir(), key=lambda file: file.name)
PULL_BEHIND = next(file for file in EXAMPLES if "pull-behind" in file.name).read_text(encoding="utf-8")
WALKER = next(file for file in EXAMPLES if "walker" in file.name).read_text(encoding="utf-8")
GALLON, PSI = 3.785411784e-3, 6894.757293168361


@pytest.mark.parametrize("file", EXAMPLES, ids=lambda file: file.name)
def test_examples_load_and_keep_their_text(file):
    assert load_rig(file).toml == file.read_text(encoding="utf-8")


def test_the_us_example_in_si():
    rig = rig_from_toml(PULL_BEHIND)
    assert (rig.name, rig.units, rig.spray_switch) == ("Harrow Lea pull-behind", "us", True)
    assert rig.tank.volume_m3 == pytest.approx(25 * GALLON)
    gpm = GALLON / 60
    assert rig.pump.highest_flow_m3_s == pytest.approx(7.4 * gpm)
    assert rig.pump.flow_m3_s(25 * PSI) == pytest.approx(7.1 * gpm)
    assert rig.pump.flow_m3_s(101 * PSI) is None  # beyond its table nothing is known
    assert [tip.name for tip in rig.tips] == ["02 flat fan", "05 flat fan"]
    assert rig.tips[0].flow_m3_s(40 * PSI) == pytest.approx(0.2 * gpm)
    assert rig.swath_m == pytest.approx(80 * 0.0254)
    assert rig.nozzles.points == ((pytest.approx(40 * PSI), pytest.approx(0.35 * GALLON / 60)),)
    assert rig.nozzles.flow_m3_s(10 * PSI) == pytest.approx(0.175 * GALLON / 60)
    assert rig.nozzles.coefficient == pytest.approx(0.35 * GALLON / 60 / np.sqrt(40 * PSI))
    assert (rig.nozzles.min_pressure_pa, rig.nozzles.max_pressure_pa) == pytest.approx((15 * PSI, 60 * PSI))
    np.testing.assert_allclose(rig.meter.pulses_per_m3([0, 50, 1e4]), 450e3)
    np.testing.assert_allclose(
        rig.pressure.pressure_pa([102.3, 511.5, 920.7], 1023), [0, 50 * PSI, 100 * PSI], atol=1e-6
    )
    assert rig.pressure.uncertainty_pa == pytest.approx(1 * PSI)
    assert rig.wheel.metres_per_pulse == pytest.approx(0.12)
    assert rig.course is None
    assert rig.target.rate_m3_m2 == pytest.approx(1000 * GALLON / 1e6 / 0.09290304)
    assert (rig.target.low_m3_m2, rig.target.high_m3_m2) == pytest.approx(
        (0.9 * rig.target.rate_m3_m2, 1.1 * rig.target.rate_m3_m2)
    )


def test_the_metric_example_with_tables_and_a_timed_course():
    rig = rig_from_toml(WALKER)
    assert rig.pump.flow_m3_s(4e5) == pytest.approx(15e-3 / 60)
    assert rig.wheel is None
    assert rig.course.speed_m_s == pytest.approx(60 / 54)
    assert rig.swath_m == 2.0
    litre_min = 1e-3 / 60
    at_points = rig.nozzles.flow_m3_s([1e5, 2e5, 3e5])
    np.testing.assert_allclose(at_points, np.array([0.69, 0.98, 1.20]) * litre_min)
    # Beyond the table the square-root law goes on from its end.
    np.testing.assert_allclose(rig.nozzles.flow_m3_s([0.25e5, 12e5]), np.array([0.345, 2.40]) * litre_min)
    np.testing.assert_allclose(rig.nozzles.flow_m3_s([-1e4, 0]), 0)
    np.testing.assert_allclose(rig.meter.pulses_per_m3([1, 10, 17.5, 25, 99]), [442e3, 442e3, 446e3, 450e3, 452e3])


def changed(old: str, new: str, text: str = PULL_BEHIND) -> str:
    assert text.count(old) == 1, old
    return text.replace(old, new)


PUMP_TABLE = re.search(r"points = .*6.1 gpm.*\n", PULL_BEHIND)[0]


@pytest.mark.parametrize(
    ("pump", "at_45_psi", "known"),
    [
        # A straight line between open flow and shut-off.
        ('open_flow = "3.4 gpm"\nshutoff_pressure = "90 psi"\n', 1.7, True),
        # The pressure switch is no point of the curve: the flow under pressure is not known.
        ('open_flow = "3.4 gpm"\nswitch_pressure = "55 psi"\n', None, False),
        ('open_flow = "3.4 gpm"\n', None, False),
        ('points = [["0 psi", "3.4 gpm"], ["90 psi", "0 gpm"]]\nswitch_pressure = "45 psi"\n', 0.0, True),
    ],
)
def test_what_a_pump_gives_under_pressure(pump, at_45_psi, known):
    rig = rig_from_toml(changed(PUMP_TABLE, pump))
    flow = rig.pump.flow_m3_s(45 * PSI)
    assert flow == (None if at_45_psi is None else pytest.approx(at_45_psi * GALLON / 60))
    assert rig.pump.known == known
    assert rig.pump.highest_flow_m3_s == pytest.approx(3.4 * GALLON / 60)


WHEEL = re.search(r"\[wheel\].*?\n\n", PULL_BEHIND, re.DOTALL)[0]
BAD = {
    "wrong dimension": (changed('"25 gal"', '"25 psi"'), "tank.volume in rig file", "not a volume"),
    "bare number": (changed('"25 gal"', "25"), "tank.volume in rig file", "give it as text"),
    "no unit": (changed('"25 gal"', '"25"'), "tank.volume in rig file", "without a unit"),
    "negative": (changed('"25 gal"', '"-25 gal"'), "tank.volume in rig file", "between 0.0264 gal and 5,280 gal"),
    "zero flow": (changed('flow = "0.35 gpm"', 'flow = "0 gpm"'), "nozzle.flow in rig file", "must be between"),
    "unknown key": (changed("spacing", "spaceing"), "key boom.spaceing in rig file", 'did you mean "spacing"?'),
    "unknown key at the top": (changed("spray_switch", "spray_swich"), "key spray_swich", 'mean "spray_switch"?'),
    "unknown section": (changed("[target]", "[targets]"), "section targets in rig file", 'did you mean "target"?'),
    "unlike any key": (changed("[target]", "zzz = 1\n[target]"), "key wheel.zzz", "known here: circumference"),
    "missing key": (changed('rate = "1.0 gal/1000 ft2"\n', ""), "target.rate in rig file is missing", "add it"),
    "missing name": (changed('name = "Harrow Lea pull-behind"\n', ""), "name in rig file is missing", "add it"),
    "missing section": (re.sub(r"\[boom\].*?\n\n", "", PULL_BEHIND, flags=re.DOTALL), "section [boom]", "missing"),
    "both": (PULL_BEHIND + '\n[course]\ndistance = "200 ft"\ntime = "55 s"\n', "both [wheel] and [course]", "keep one"),
    "neither": (changed(WHEEL, ""), "neither [wheel] nor [course]", "give one"),
    "units": (changed('"us"', '"imperial"'), "units in rig file", 'write "us" or "metric"'),
    "switch as text": (changed("= true", '= "yes"'), "spray_switch in rig file", "true or false"),
    "half a nozzle": (changed("nozzles = 4", "nozzles = 4.5"), "boom.nozzles in rig file", "whole number"),
    "true nozzles": (changed("nozzles = 4", "nozzles = true"), "boom.nozzles in rig file", "whole number"),
    "no nozzles": (changed("nozzles = 4", "nozzles = 0"), "boom.nozzles in rig file", "between 1 and 200"),
    "flow without pressure": (changed('at = "40 psi"\n', ""), "nozzle.at in rig file is missing", "flow says nothing"),
    "flow and points": (
        changed('at = "40 psi"\n', 'at = "40 psi"\npoints = [["40 psi", "0.35 gpm"]]\n'),
        "section [nozzle] in rig file",
        "both flow with at and points: keep one",
    ),
    "no meter factor": (
        changed('factor = "450 pulses/L"\n', ""),
        "section [meter] in rig file",
        "neither factor nor curve: give one",
    ),
    "falling span": (changed('["0 psi", "100 psi"]', '["100 psi", "0 psi"]'), "pressure.span in rig file", "must rise"),
    "span of one": (changed('["0 psi", "100 psi"]', '["100 psi"]'), "pressure.span in rig file", "list of two"),
    "band of 100 %": (
        changed('band = "10 %"', 'band = "100 %"'),
        "target.band in rig file",
        "between 0.5 % and 50 %",
    ),
    "syntax": (changed('name = "Harrow', "name = Harrow"), "rig file is not valid TOML", "line 2"),
    "key twice": (changed("nozzles = 4", "nozzles = 4\nnozzles = 5"), "rig file is not valid TOML", "line 15"),
    "nested": ("a = " + "[" * 20_000, "rig file is not valid TOML", "mend it"),
    "section as value": (changed("[tank]\nvolume", "tank"), "tank in rig file must be a section", "write [tank]"),
    "value as section": ("[name]\nx = 1\n" + PULL_BEHIND.split("\n", 2)[2], "name in rig file", "single value"),
    "empty": ("", "section [tank] is missing in rig file", "add it"),
    "name empty": (changed('"Harrow Lea pull-behind"', '" "'), "name in rig file", "1 to 80 characters"),
    "falling table": (changed('["2.0 bar"', '["0.5 bar"', WALKER), "nozzle.points row 2 in rig file", "does not rise"),
    "falling flow": (changed('"0.98 L/min"', '"0.5 L/min"', WALKER), "nozzle.points in rig file", "rise in flow"),
    "row of three": (changed('["10 Hz", ', '["10 Hz", "1", ', WALKER), "meter.curve row 1 in rig file", "one pair"),
    "empty table": (re.sub(r"curve = .*", "curve = []", WALKER), "meter.curve in rig file", "1 to 50"),
    "wrong in a table": (changed('"442 /L"', '"442 L"', WALKER), "meter.curve row 1 in rig file", "not a pulses per"),
    "pump without a flow": (changed(PUMP_TABLE, ""), "section [pump] in rig file", "neither points nor open_flow"),
    "rising pump": (changed('"6.8 gpm"', '"8 gpm"'), "pump.points in rig file", "must fall in flow"),
    "tip as a section": (WALKER.replace("[[tip]]", "[tip]"), "tip in rig file", "write [[tip]]"),
    "two tips of one name": (changed('"05 flat', '"02 flat'), "tip 2.name in rig file", "its own name"),
    "tip without a name": (changed('name = "05 flat fan"\n', ""), "tip 2.name in rig file is missing", "add it"),
    "tip with an unknown key": (
        changed('name = "05', 'size = 5\nname = "05'),
        "key tip 2.size in rig file",
        "known here",
    ),
    "tip without a flow": (
        changed('points = [["40 psi", "0.50 gpm"]]\n', ""),
        "section [tip 2] in rig file",
        "flow",
    ),
    "course of an hour": (changed('"54 s"', '"59 min"', WALKER), "section [course] in rig file", "plausible range"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_mistake_gets_one_sentence_with_file_key_and_remedy(name):
    text, where, says = BAD[name]
    with pytest.raises(UserError) as caught:
        rig_from_toml(text)
    sentence = str(caught.value)
    assert where in sentence
    assert says in sentence
    assert "\n" not in sentence
    assert len(sentence) < 300


def test_files_that_cannot_be_read(tmp_path):
    def sentence(path):
        with pytest.raises(UserError) as caught:
            load_rig(path)
        assert str(path) in str(caught.value)
        return str(caught.value)

    assert "does not exist" in sentence(tmp_path / "none.toml")
    assert "is a folder" in sentence(tmp_path)
    (tmp_path / "latin.toml").write_bytes('name = "Häger"'.encode("latin-1"))
    assert "not UTF-8 text (byte 9)" in sentence(tmp_path / "latin.toml")
    (tmp_path / "huge.toml").write_bytes(b"#" * 200_000)
    assert "larger than" in sentence(tmp_path / "huge.toml")
    (tmp_path / "bom.toml").write_bytes(b"\xef\xbb\xbf" + PULL_BEHIND.encode())
    assert load_rig(tmp_path / "bom.toml").name == "Harrow Lea pull-behind"
    (tmp_path / "wrong.toml").write_text(changed('"25 gal"', '"25 psi"'))
    assert f"tank.volume in rig file {tmp_path / 'wrong.toml'}" in sentence(tmp_path / "wrong.toml")


@given(st.integers(0, len(PULL_BEHIND) - 1), st.text(max_size=3))
def test_no_slip_of_the_pen_breaks_the_reader(at, slip):
    try:
        rig_from_toml(PULL_BEHIND[:at] + slip + PULL_BEHIND[at + 1 :])
    except UserError as error:
        assert "rig file" in str(error)


def test_the_kind_of_sensor_settles_the_filter_of_its_input():
    """Reeds bounce for up to 5 ms as they close and as they open (common practice); the filter must outlast that."""
    hall = rig_from_toml(PULL_BEHIND)
    assert (hall.meter_sensor, hall.wheel_sensor) == ("hall", "hall")
    assert filter_arguments(hall) == (
        filter_argument(Capability.FLOW, FilterRule.SPACING, 100),
        filter_argument(Capability.WHEEL, FilterRule.SPACING, 400),
    )
    reed = rig_from_toml(changed("[wheel]", '[wheel]\nsensor = "reed"'))
    assert filter_arguments(reed)[1] == filter_argument(Capability.WHEEL, FilterRule.REST, 8_000)
    with pytest.raises(
        UserError, match=r"wheel.sensor in rig file is 'magnet': known here: hall, encoder, reed, contact"
    ):
        rig_from_toml(changed("[wheel]", '[wheel]\nsensor = "magnet"'))
