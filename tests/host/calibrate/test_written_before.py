"""Cards and drafts as they were written before (format 1 of cards) go on reading."""

import json
from importlib.resources import files
from pathlib import Path

import pytest

from host.calibrate.boom_card import boom_card
from host.calibrate.cards import apply_cards, card_from_toml
from host.calibrate.drafts import DraftFile
from host.calibrate.kinds import KINDS, meter
from host.calibrate.kinds.kind import Job
from host.rig import load_rig
from tests.host.calibrate.clocks import Clock
from tests.host.calibrate.jobs import no_run

KEPT = Path(__file__).parent / "written_before"
EXAMPLES = files("host.rig").joinpath("examples")
RIGS = [load_rig(str(EXAMPLES / f"harrow-lea-{name}.toml")) for name in ("pull-behind", "walker")]


def sample(name):
    return (KEPT / name).read_text(encoding="utf-8")


def contains(now, before):
    """Whether everything that was written before is there still; what came later has its default."""
    if isinstance(before, dict):
        return all(contains(now[name], value) for name, value in before.items())
    return now == before


def rig_named(name):
    return next(rig for rig in RIGS if rig.name == name)


# What the command said when it wrote the card, its ± rounded up as a ± is now (GUM 7.2.6); of a catch test what is
# said now, with the marks read alike.
SAID = {
    "meter": ("± 1.2 %", lambda rig: rig.meter.curve[0][1] * 3.785411784e-3, 1704.6),
    "pressure": ("± 1.3 psi", lambda rig: rig.pressure.high_pa / 6894.757, 100.2),
    "wheel": ("± 0.61 %", lambda rig: rig.wheel.metres_per_pulse, 0.12),
    "course": ("± 8.1 %", lambda rig: rig.course.speed_m_s * 3.6, 4.00),
    "boom": ("± 2.7 %", lambda rig: 1.0, 1.0),
}


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_card_of_every_kind(kind):
    card = card_from_toml(sample(f"{kind.name}.toml"))
    plus_minus, number, said = SAID[kind.name]
    rig = apply_cards(rig_named(card.rig_name), [card])
    assert number(rig) == pytest.approx(said, rel=5e-4)
    assert kind.plus_minus(rig, card) == plus_minus


def test_a_catch_test_of_before_is_a_standard():
    test = boom_card(card_from_toml(sample("boom.toml")))
    assert test.nozzles == 4
    # The card's own coefficients, nozzle by nozzle, added up by hand.
    assert test.points[1][1] == pytest.approx((4.18922 + 4.154599 + 4.206531 + 4.171909) * 1e-8)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_draft_of_every_kind(tmp_path, kind):
    text = sample(f"{kind.name}.draft")
    rows, rig = json.loads(text)["rows"], rig_named(json.loads(text)["rig"])
    draft = DraftFile(tmp_path, rig.name, kind.name)
    draft.path.parent.mkdir()
    draft.path.write_text(text)
    session = kind.start(Job(rig, (), Clock(), no_run))
    session.restore(draft.load().rows)
    for row, before in zip(session.rows(), rows, strict=True):
        assert contains(row, before)
    if kind is meter.KIND:
        assert session.points().cells[0] == ["1", "1043", "0.610 gal", "jug"]
