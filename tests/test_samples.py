"""Whatever an earlier version wrote is read today, and says the same: see tests/samples."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from host.calibrate.boom_card import boom_card
from host.calibrate.cards import FORMAT, Card, apply_cards, card_from_toml
from host.calibrate.kinds import KINDS
from host.cli.main import main
from host.journal import read_run
from host.journal.records import SCHEMA
from host.review.review import review_run
from host.rig import load_rig

SAMPLES = Path(__file__).parent / "samples"
GPM = 231 * 0.0254**3 / 60
RATE = 231 * 0.0254**3 / 92.90304  # 1 gal/1000 ft2
PSI = 4.4482216152605 / 0.0254**2

# Name: frames, lines damaged on the wire, kinds of event in their order, notes, kinds of card, and the flow pulses.
# All of it is from the files themselves, counted when they were written.
EVENTS_OF_MAY = "run_start mark alarm_seen alarm_muted alarm_unmuted refill refill link_lost link_back run_end"
RUNS: dict[str, dict[str, Any]] = {
    "2026-03-first-writer": {
        "frames": 200,
        "wire_damage": 1,
        "events": ["run_start", "mark", "run_end"],
        "notes": {"area": "Invented green"},
        "cards": [],
        "pulses": 4 * 140,
        "rig": "Harrow Lea pull-behind",
    },
    "2026-05-wire-1.0": {
        "frames": 582,
        "wire_damage": 5,
        "events": EVENTS_OF_MAY.split(),
        "notes": {"area": "Invented green", "product": "clean water", "tank left": "30 L"},
        "cards": ["meter", "pressure", "wheel", "boom"],
        "pulses": None,  # the board restarted in it
        "rig": "Harrow Lea pull-behind",
    },
    "2026-11-format-1.1": {
        "frames": 898,
        "wire_damage": 0,
        "events": ["run_start", "run_end"],
        "notes": {},
        "cards": [],
        "pulses": None,
        "rig": "Harrow Lea walking boom",
    },
    "2026-11-wire-1.1": {
        "frames": 220,
        "wire_damage": 0,
        "events": ["run_start", "run_end"],
        "notes": {},
        "cards": [],
        "pulses": None,
        "rig": "Harrow Lea walking boom",
    },
}


@pytest.mark.parametrize("name", [path.stem for path in sorted((SAMPLES / "runs").glob("*.sward"))])
def test_a_run_file_of_an_earlier_version(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    path, wanted = SAMPLES / "runs" / f"{name}.sward", RUNS[name]
    run = read_run(path)
    events = [event for event in run.events if event.kind not in ("header", "rig", "calibration", "note", "trailer")]
    found = {
        "frames": len(run.frames),
        "wire_damage": run.wire_damage,
        "events": [event.kind for event in events if event.kind in wanted["events"]],
        "notes": {str(note.detail["key"]): note.detail["value"] for note in run.notes},
        "cards": list(dict.fromkeys(card["kind"] for card in run.calibrations)),
    }
    assert found == {key: wanted[key] for key in found}
    assert run.damaged == run.lost_records == 0, "every record is whole"
    if wanted["pulses"] is not None:
        assert run.frames["flow_count"][-1] - run.frames["flow_count"][0] == wanted["pulses"]
    review = review_run(path)
    assert (review.rig.name, len(review.passes) > 0) == (wanted["rig"], True)
    assert np.isfinite(review.totals.volume_m3) and review.totals.volume_m3 > 0
    assert main(["review", str(path)]) == 0
    assert wanted["rig"] in capsys.readouterr().out


# What each card was made from: 3 catches at 440 pulses/L; 0 kPa at 110 counts and 300 kPa at 470; a course of 60 m in
# 498, 500 and 501 pulses, and in 54, 55 and 53.5 s; four volumes in 55 s at 40 psi.
# Later ones: see their record.
COEFFICIENT = (1210 + 1205 + 1220 + 1190) * 1e-6 / 55 / (40 * PSI) ** 0.5
CARDS: dict[str, tuple[str, Callable[[Any], float], float]] = {
    "2026-03-meter": ("meter", lambda meter: meter.pulses_per_m3(20.0), 440e3),
    "2026-03-pressure": ("pressure", lambda sensor: sensor.pressure_pa(470.0, 1023.0), 300e3),
    "2026-03-wheel": ("wheel", lambda wheel: wheel.metres_per_pulse, 180 / (498 + 500 + 501)),
    "2026-03-course": ("course", lambda course: course.speed_m_s, 180 / (54 + 55 + 53.5)),
    "2026-03-boom": ("boom", lambda card: card.coefficient(40 * PSI), COEFFICIENT),
    "2026-05-meter": ("meter", lambda meter: meter.pulses_per_m3(20.0), (1043 + 1039) / (2.31e-3 + 2.30e-3)),
    "2026-05-meter-curve": ("meter", lambda meter: meter.pulses_per_m3(34.68333), (1041 + 1040) / 4.20e-3),
    "2026-05-pressure": ("pressure", lambda sensor: sensor.pressure_pa(430.0, 1023.0), 40 * PSI),
    "2026-05-wheel": ("wheel", lambda wheel: wheel.metres_per_pulse, 3 * 200 * 0.3048 / (508 + 509 + 507)),
    "2026-05-course": ("course", lambda course: course.speed_m_s, 180 / (54 + 55 + 53.5)),
    "2026-05-boom": ("boom", lambda card: card.coefficient(40 * PSI), COEFFICIENT),
    "2026-11-format-2-meter": ("meter", lambda meter: meter.pulses_per_m3(34.68333), (1041 + 1040) / 4.20e-3),
    "2026-11-format-2-pressure": ("pressure", lambda sensor: sensor.pressure_pa(430.0, 1023.0), 40 * PSI),
    "2026-11-format-2-wheel": ("wheel", lambda wheel: wheel.metres_per_pulse, 3 * 200 * 0.3048 / (508 + 509 + 507)),
    "2026-11-format-2-course": ("course", lambda course: course.speed_m_s, 180 / (54 + 55 + 53.5)),
    "2026-11-format-2-boom": ("boom", lambda card: card.coefficient(40 * PSI), COEFFICIENT),
}


def card_of(name: str) -> Card:
    return card_from_toml((SAMPLES / "cards" / f"{name}.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", [path.stem for path in sorted((SAMPLES / "cards").glob("*.toml"))])
def test_a_card_of_an_earlier_version(name: str) -> None:
    kind, figure, wanted = CARDS[name]
    card = card_of(name)
    assert card.kind == kind
    assert figure(boom_card(card) if kind == "boom" else card.section) == pytest.approx(wanted, rel=3e-3)


def test_what_is_written_today_has_its_samples() -> None:
    """A new format is not complete without them."""
    assert SCHEMA in {str(read_run(SAMPLES / "runs" / f"{name}.sward").header["schema"]) for name in RUNS}
    cards = [tomllib.loads(card_of(name).toml) for name in CARDS]
    assert {card["kind"] for card in cards if card["format"] == FORMAT} == {kind.name for kind in KINDS}


def test_cards_of_an_earlier_version_apply_to_a_rig_of_an_earlier_version() -> None:
    rig = load_rig(SAMPLES / "rigs" / "2026-03-wheel.toml")
    calibrated = apply_cards(rig, [card_of(name) for name in CARDS if not name.endswith("course")])
    assert calibrated.meter != rig.meter and calibrated.pressure != rig.pressure and calibrated.wheel != rig.wheel


# Pump: flow at 30 psi in gal/min; None for none. Then the nozzle's flow at 40 psi in gal/min, and the target.
RIGS: dict[str, tuple[float | None, float, float]] = {
    "2026-03-wheel": (1.5, 0.35, 1.0),
    "2026-03-course": (
        None,
        0.98 * 0.001 / 60 / GPM * (40 * PSI / 2e5) ** 0.5,
        4.0 / 100 * 1e-3 / (GPM * 60 / 92.90304),
    ),
    "2026-11-pump-curve-and-tips": (7.04, 0.35, 1.0),
}


@pytest.mark.parametrize("name", [path.stem for path in sorted((SAMPLES / "rigs").glob("*.toml"))])
def test_a_rig_file_of_an_earlier_version(name: str) -> None:
    pump_gpm, nozzle_gpm, rate = RIGS[name]
    rig = load_rig(SAMPLES / "rigs" / f"{name}.toml")
    assert (rig.pump is None) == (pump_gpm is None)
    if rig.pump is not None:
        assert rig.pump.flow_m3_s(30 * PSI) == pytest.approx((pump_gpm or 0) * GPM)
    assert float(rig.nozzles.flow_m3_s(40 * PSI)) == pytest.approx(nozzle_gpm * GPM, rel=0.02)
    assert rig.target.rate_m3_m2 == pytest.approx(rate * RATE)
