import json
from datetime import datetime

import pytest

from host.calibrate.amounts import AmountReader
from host.calibrate.boom_guide import NozzleCatch
from host.calibrate.cards import load_cards
from host.calibrate.drafts import DraftFile, boom_of, boom_rows, course_of, course_rows, taken_of, taken_rows
from host.calibrate.guide import Taken
from host.calibrate.vessels import JUG
from host.errors import UserError

NOON = datetime(2026, 5, 14, 12, 0, 5)
TAKEN = [Taken(1043, 55.25, 431.5, 2.31e-3, JUG), Taken(900, None, None, 2.0e-3)]


def test_what_was_taken_comes_back(tmp_path):
    draft = DraftFile(tmp_path, "Harrow Lea", "meter")
    assert draft.load() is None
    draft.save(taken_rows(TAKEN), NOON)
    found = DraftFile(tmp_path, "Harrow Lea", "meter").load()
    assert found.changed == NOON
    assert taken_of(found) == TAKEN
    assert load_cards(tmp_path, "Harrow Lea") == []  # it lies beside the cards and is none
    draft.save(taken_rows(TAKEN[:1]), NOON)
    assert taken_of(draft.load()) == TAKEN[:1]
    draft.save([], NOON)
    assert list(tmp_path.rglob("*.draft*")) == []


def test_boom_and_course_come_back(tmp_path):
    litre = AmountReader().read("1 L", "it")
    rounds = [[NozzleCatch(litre, 55.0, 2e5, True)] * 2, [NozzleCatch(litre, 45.0, 3e5, False)]]
    draft = DraftFile(tmp_path, "Harrow Lea", "boom")
    draft.save(boom_rows(rounds), NOON)
    assert boom_of(draft.load()) == rounds
    draft.save(course_rows(60.0, [54.0, 55.5]), NOON)
    assert course_of(draft.load()) == (60.0, [54.0, 55.5])


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
    DraftFile(tmp_path, "Boom 1", "meter").save(taken_rows(TAKEN), NOON)
    with pytest.raises(UserError, match="of another rig"):
        DraftFile(tmp_path, "boom-1", "meter").load()


@pytest.mark.parametrize(
    ("read", "row"),
    [
        (taken_of, 5),
        (taken_of, {"pulses": 3}),
        (taken_of, {"pulses": "many", "duration_s": None, "mean_counts": None, "amount": 1.0}),
        (taken_of, {"pulses": 1, "duration_s": None, "mean_counts": None, "amount": 1.0, "vessel": 7}),
        (taken_of, {"pulses": 1, "duration_s": None, "mean_counts": None, "amount": 1.0, "vessel": {"name": 7}}),
        (boom_of, {"round": 1, "amount": None, "duration_s": 5.0, "pressure_pa": 1.0, "by_gauge": True}),
        (boom_of, {"round": 1}),
        (course_of, {"course_m": "long", "time_s": 5.0}),
        (course_of, {}),
    ],
)
def test_rows_that_are_not_whole(tmp_path, read, row):
    draft = DraftFile(tmp_path, "Harrow Lea", "meter")
    draft.save(taken_rows(TAKEN), NOON)
    tree = json.loads(draft.path.read_text())
    draft.path.write_text(json.dumps(tree | {"rows": [row]}))
    with pytest.raises(UserError, match="not whole"):
        read(draft.load())


def test_a_folder_that_cannot_be_written(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(UserError, match="draft cannot be written"):
        DraftFile(tmp_path / "file", "Harrow Lea", "meter").save(taken_rows(TAKEN), NOON)
    with pytest.raises(UserError, match="is no folder"):
        DraftFile(tmp_path / "file", "Harrow Lea", "meter").load()
