import json
from datetime import datetime

import pytest

from host.calibrate.cards import load_cards
from host.calibrate.drafts import DraftFile
from host.calibrate.kinds import KINDS, boom, course, meter, pressure, wheel
from host.errors import UserError
from tests.host.calibrate.jobs import WALKER, save, start

NOON = datetime(2026, 5, 14, 12, 0, 5)
ROWS = [{"pulses": 1043, "duration_s": None, "mean_counts": None, "amount": 2.31e-3, "vessel": None}]


def begun(kind):
    """A calibration with a few points."""
    if kind is course.KIND:
        session = start(kind, WALKER, course="60 m")
        for time in ("54 s", "55.5 s"):
            save(session, "typed", time=time)
    elif kind is wheel.KIND:
        session = start(kind, course="200 ft")
        save(session, "typed", pulses="508")
    elif kind is pressure.KIND:
        session = start(kind)
        save(session, "zero", counts="104")
        save(session, "typed", gauge="40 psi", counts="430.5")
    elif kind is boom.KIND:
        session = start(kind)
        amounts = {f"nozzle_{number}": "1200 mL" for number in range(1, 5)}
        save(session, "typed", pressure="40 psi", time="55 s", **amounts)
        save(session, "watch", pressure="30 psi")
    else:
        session = start(kind)
        save(session, "typed", pulses="1043", amount="2.31 L", time="55 s")
        save(session, "typed", pulses="1039", amount="2.31 kg")
    return session


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_the_points_of_every_kind_come_back(tmp_path, kind):
    session = begun(kind)
    draft = DraftFile(tmp_path, "Harrow Lea", kind.name)
    assert draft.load() is None
    draft.save(session.rows(), NOON)
    found = DraftFile(tmp_path, "Harrow Lea", kind.name).load()
    assert found.changed == NOON
    assert load_cards(tmp_path, "Harrow Lea") == []  # it lies beside the cards and is none
    resumed = start(kind, session.job.rig) if not kind.settings or not kind.settings[0].required else None
    resumed = resumed or kind.start(session.job)
    resumed.restore(found.rows)
    assert resumed.rows() == session.rows()
    assert resumed.outcome().document == session.outcome().document
    draft.save(session.rows()[:1], NOON)
    assert len(draft.load().rows) == 1
    draft.save([], NOON)
    assert list(tmp_path.rglob("*.draft*")) == []


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "{}", "[" * 2000, '{"format": 9, "kind": "meter", "rig": "Harrow Lea", "rows": []}', "\xff"]
)
def test_a_file_that_is_no_draft(tmp_path, text):
    draft = DraftFile(tmp_path, "Harrow Lea", "meter")
    draft.path.parent.mkdir()
    draft.path.write_bytes(text.encode("latin-1"))
    with pytest.raises(UserError, match="move it out of the folder"):
        draft.load()


def test_the_draft_of_another_rig_in_the_same_folder(tmp_path):
    DraftFile(tmp_path, "Boom 1", "meter").save(ROWS, NOON)
    with pytest.raises(UserError, match="of another rig"):
        DraftFile(tmp_path, "boom-1", "meter").load()


CATCH = {"round": 1, "duration_s": 5.0, "pressure_pa": 1.0, "by_gauge": True}


@pytest.mark.parametrize(
    ("kind", "row"),
    [
        (meter.KIND, {"pulses": 3}),
        (meter.KIND, ROWS[0] | {"pulses": "many"}),
        (meter.KIND, ROWS[0] | {"pulses": True}),
        (meter.KIND, ROWS[0] | {"more": 1}),
        (meter.KIND, ROWS[0] | {"vessel": 7}),
        (meter.KIND, ROWS[0] | {"vessel": {"name": 7}}),
        (boom.KIND, CATCH | {"amount": None}),
        (boom.KIND, CATCH | {"amount": {"volume_m3": 1e-3, "vessel": None}}),
        (boom.KIND, {"round": 1}),
        (course.KIND, {"course_m": "long", "time_s": 5.0}),
        (course.KIND, {}),
    ],
)
def test_rows_that_are_damaged(tmp_path, kind, row):
    draft = DraftFile(tmp_path, "Harrow Lea", kind.name)
    draft.save(ROWS, NOON)
    tree = json.loads(draft.path.read_text())
    draft.path.write_text(json.dumps(tree | {"rows": [row]}))
    session = begun(kind)
    with pytest.raises(UserError, match="damaged"):
        session.restore(draft.load().rows)


def test_a_row_that_is_none(tmp_path):
    draft = DraftFile(tmp_path, "Harrow Lea", "meter")
    draft.save([5], NOON)
    with pytest.raises(UserError, match="cannot be read"):
        draft.load()


def test_a_folder_that_cannot_be_written(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(UserError, match="draft cannot be written"):
        DraftFile(tmp_path / "file", "Harrow Lea", "meter").save(ROWS, NOON)
    with pytest.raises(UserError, match="is no folder"):
        DraftFile(tmp_path / "file", "Harrow Lea", "meter").load()
