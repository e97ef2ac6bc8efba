"""The library: what is listed, what is read again, what a bad file does."""

import json
import os
import tomllib
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest

from host.cli.main import main
from host.errors import UserError
from host.journal import read_run
from host.library import Library
from host.library.index import NAME, Index, Kept
from host.library.later_notes import add_note, read_notes
from host.library.library import Wanted
from host.review.calibration_choice import Under
from host.review.digest import digest_to_json
from host.run_folder import notes_path, run_name
from tests.host.library.made import simulated_run, told

DAY = datetime(2026, 5, 14, 9, 15, tzinfo=UTC)


class CountingReader:
    def __init__(self):
        self.read = []

    def __call__(self, path):
        self.read.append(path.name)
        return read_run(path)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made")
    for number, (site, product) in enumerate([("Bowling green", "iron"), ("Rose walk", "iron"), ("Rose walk", "feed")]):
        notes = {"area": site, "product": product, "operator": "J."}
        simulated_run(folder / f"r{number}.sward", DAY.replace(day=10 + number), notes)
    return folder


@pytest.fixture
def folder(made, tmp_path):
    for path in made.glob("*.sward"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    return tmp_path


def names(entries):
    return [entry.path.stem for entry in entries]


def test_runs_are_listed_by_date_and_filtered(folder):
    library = Library(folder)
    assert names(library.entries()) == ["r0", "r1", "r2"]
    assert names(library.wanted(Wanted(site="rose"))) == ["r1", "r2"]
    assert names(library.wanted(Wanted(product="IRON", site="rose"))) == ["r1"]
    assert names(library.wanted(Wanted(first_day="2026-05-11", last_day="2026-05-11"))) == ["r1"]
    assert names(library.wanted(Wanted(text="j."))) == ["r0", "r1", "r2"]
    assert names(library.wanted(Wanted(rig="nothing of this name"))) == []


def test_unchanged_files_are_not_read_again(folder):
    reader = CountingReader()
    first = told(Library(folder, read=reader).entries())
    assert sorted(reader.read) == ["r0.sward", "r1.sward", "r2.sward"]
    reader.read.clear()
    assert told(Library(folder, read=reader).entries()) == first
    assert reader.read == []
    os.utime(folder / "r1.sward", ns=(1, 1))
    add_note(folder / "r2.sward", "weather", "light air", DAY)
    Library(folder, read=reader).entries()
    assert sorted(reader.read) == ["r1.sward", "r2.sward"]


def test_the_index_may_be_deleted_or_damaged_at_any_time(folder):
    before = told(Library(folder).entries())
    (folder / NAME).unlink()
    assert told(Library(folder).entries()) == before
    (folder / NAME).write_bytes(b"SQLite format 3\0" + os.urandom(5000))
    assert told(Library(folder).entries()) == before
    reader = CountingReader()
    assert told(Library(folder, read=reader).entries()) == before
    assert reader.read == []


def test_a_folder_where_nothing_can_be_kept_is_listed_all_the_same(folder):
    (folder / NAME).mkdir()
    assert names(Library(folder).entries()) == ["r0", "r1", "r2"]


def test_folders_for_years_and_sites_are_read_too_each_once(folder):
    (folder / "2025" / "green").mkdir(parents=True)
    (folder / "2025" / "green" / "r1.sward").write_bytes((folder / "r1.sward").read_bytes())
    (folder / "r1.sward").unlink()
    (folder / "2025" / "round").symlink_to(folder)  # a loop
    (folder / "again").symlink_to(folder / "2025")
    (folder / "nowhere").symlink_to(folder / "gone")
    (folder / "nowhere.sward").symlink_to(folder / "nowhere.sward")
    for passed_over in (".trash", "demo"):
        (folder / passed_over).mkdir()
        (folder / passed_over / "r0.sward").write_bytes((folder / "r0.sward").read_bytes())
    library = Library(folder)
    assert names(library.entries()) == ["r0", "r1", "r2"]
    assert run_name(library.entries()[1].path, folder) in ("2025/green/r1", "again/green/r1")
    assert names(Library(folder / "demo").entries()) == ["r0"]
    add_note(library.entries()[1].path, "site", "Far lawn", DAY)
    assert names(Library(folder).wanted(Wanted(site="far"))) == ["r1"]


@pytest.mark.parametrize(
    ("name", "share"), [("backup/r1", 1.0), ("0-renamed", 1.0), ("0-cut-off", 0.8)]
)  # sorts before r1
def test_a_copy_is_counted_once_and_named_whatever_it_is_called(folder, name, share):
    copy = folder / f"{name}.sward"
    copy.parent.mkdir(exist_ok=True)
    whole = (folder / "r1.sward").read_bytes()
    copy.write_bytes(whole[: int(share * len(whole))])
    entries = Library(folder).entries()
    assert len(entries) == 4
    (left_out,) = [entry for entry in entries if entry.digest is None]
    assert "is a copy of" in left_out.problem
    assert share == 1.0 or left_out.path == copy


def test_much_to_read_is_read_by_several_processes_with_the_same_result(folder):
    here = Library(folder).entries()
    (folder / NAME).unlink()
    counted = []
    there = Library(folder, processes=2).entries(lambda done, whole: counted.append((done, whole)))
    assert [digest_to_json(entry.digest) for entry in there] == [digest_to_json(entry.digest) for entry in here]
    assert counted == [(1, 3), (2, 3), (3, 3)]


def test_bad_files_are_named_and_disturb_nothing(folder):
    good = Library(folder).entries()
    (folder / "empty.sward").write_bytes(b"")
    (folder / "photo.sward").write_bytes(b"\x89PNG\r\n" + os.urandom(20_000))
    text = (folder / "r0.sward").read_bytes()
    from host.journal.records import json_record

    later = json_record("H", 0.0, {"format": "swardflow run", "schema": "9.0"})
    (folder / "later.sward").write_bytes(later + b"".join(text.splitlines(True)[1:]))
    with (folder / "huge.sward").open("wb") as file:
        file.truncate(3 << 30)
    lines = simulated_run(folder / "damaged.sward", DAY + timedelta(days=50)).read_bytes().splitlines(True)
    lines[len(lines) // 2] = lines[len(lines) // 2].replace(b"R", b"r")
    (folder / "damaged.sward").write_bytes(b"".join(lines))
    whole = simulated_run(folder / "torn.sward", DAY + timedelta(days=51)).read_bytes()
    (folder / "torn.sward").write_bytes(whole[: len(whole) // 2])
    (folder / "folder.sward").mkdir()
    found = {entry.path.stem: entry for entry in Library(folder).entries()}
    assert told(found[name] for name in ("r0", "r1", "r2")) == told(good)
    assert "empty" in found["empty"].problem
    assert "no Swardflow run file" in found["photo"].problem
    assert "format 9.0" in found["later"].problem
    assert "too large" in found["huge"].problem
    for name in ("empty", "photo", "later", "huge"):
        assert found[name].digest is None
        assert found[name].problem.count("\n") == 0
    assert not found["damaged"].digest.complete
    assert not found["torn"].digest.complete
    assert "folder" not in found


def test_notes_stand_beside_the_run_and_later_ones_win(folder):
    run = folder / "r0.sward"
    before = run.read_bytes()
    add_note(run, "product", 'corrected: "feed"\\ 2\n', DAY)
    add_note(run, "weather", "light air, 14 °C", DAY)
    add_note(run, "Product ", "feed", DAY)
    assert run.read_bytes() == before
    assert read_notes(run) == {"product": "feed", "weather": "light air, 14 °C"}
    assert len(tomllib.loads(notes_path(run).read_text())["note"]) == 3
    entry = Library(folder).wanted(Wanted(product="feed", site="bowling"))
    assert names(entry) == ["r0"]


def test_notes_that_cannot_be_read_are_told_and_not_added_to(folder):
    run = folder / "r0.sward"
    notes_path(run).write_text("[[note", encoding="utf-8")
    with pytest.raises(UserError, match="mend that file"):
        add_note(run, "weather", "dry", DAY)
    assert notes_path(run).read_text() == "[[note"
    entry = Library(folder).entries()[0]
    assert entry.digest is not None
    assert "mend that file" in entry.problem


def test_a_note_that_is_no_quantity_costs_only_what_hangs_on_it(folder):
    notes_path(folder / "r0.sward").write_text('[[note]]\nkey = "tank left"\nvalue = "about half"\n', encoding="utf-8")
    entry = Library(folder).entries()[0]
    assert "tank left" in entry.problem
    assert entry.digest.volume_m3 > 0
    assert entry.digest.meter_over_tank is None


@pytest.mark.parametrize(
    ("key", "text", "says"),
    [
        ("tank left", "about half", 'such as "'),
        ("tank left", "50", "without a unit"),
        ("tank left", "-1 gal", "above zero"),
        ("tank left", "500 gal", "holds 13.00 gal"),
        ("refill not recorded", "a can", 'such as "'),
        ("mix", "20", 'such as "20 mL/L"'),
        ("mix", "0 mL/L", "above zero"),
        ("mix", "1.2 L/L", "more product than mix"),
        ("label limit", "10 L", "product per area"),
    ],
)
def test_a_note_of_a_quantity_that_cannot_be_is_refused_and_nothing_is_written(folder, key, text, says):
    run = folder / "r0.sward"
    with pytest.raises(UserError, match=says) as refused:
        add_note(run, key, text, DAY)
    assert key in str(refused.value) and "\n" not in str(refused.value)
    assert not notes_path(run).exists()


@pytest.mark.parametrize(
    ("key", "text"),
    [
        *(("tank left", "2 gal"), ("tank left", "0 L"), ("tank left", ""), ("tank left", "49.3 L")),
        *(("mix", "20 mL/L"), ("mix", "5 g/L"), ("mix", "3 oz/gal"), ("label limit", "2 fl oz/1000 ft2")),
        *(("refill not recorded", "0 L"), ("remark", "half a tank left")),
    ],
)
def test_a_note_that_can_be_is_written(folder, key, text):
    run = folder / "r0.sward"
    add_note(run, key, text, DAY)
    assert read_notes(run) == {key: text}


def test_an_old_run_under_another_rig_does_not_touch_what_is_kept(folder, tmp_path):
    rig = read_run(folder / "r0.sward").rig_toml
    from host.rig import rig_from_toml

    other = rig_from_toml(rig.replace('"10 Hz", "438 /L"', '"10 Hz", "400 /L"'))
    before = Library(folder).entries()
    again = Library(folder, under=Under(other)).entries()
    assert again[0].digest.volume_m3 > before[0].digest.volume_m3
    assert told(Library(folder).entries()) == told(before)


def test_readings_of_long_ago_are_forgotten_and_the_recorded_one_never(folder):
    def all_of(calibration):
        with closing(Index(folder, calibration)) as index:
            return index.all()

    for calibration in ("", "a", "b", "c", "a", "d", "e"):
        with closing(Index(folder, calibration)) as index:
            index.keep({"r0.sward": Kept("1", {"calibration": calibration})}, [])
    assert {name for name in ("", "a", "b", "c", "d", "e") if all_of(name)} == {"", "a", "c", "d", "e"}


def test_the_command(folder, capsys):
    assert main(["runs", "--runs", str(folder), "--site", "rose", "--json"]) == 0
    out = json.loads(capsys.readouterr().out)["runs"]
    assert [one["run"] for one in out] == ["r1", "r2"]
    assert out[0]["rate_gal_per_1000_ft2"] == pytest.approx(1.0, rel=0.1)
    assert main(["runs", "--runs", str(folder), "--note", "r1", "weather=dry"]) == 0
    (folder / "empty.sward").write_bytes(b"")
    assert main(["runs", "--runs", str(folder)]) == 1
    printed = capsys.readouterr().out
    assert "! Run file" in printed
    assert "Rose walk" in printed
    assert main(["runs", "--runs", str(folder), "--from", "May"]) == 2
    assert main(["runs", "--runs", str(folder / "nowhere")]) == 2


def test_what_is_known_is_told_without_reading_a_file(folder):
    def read_nothing(path):
        raise AssertionError(f"{path} was read")

    entries, unread = Library(folder, read=read_nothing).known()
    assert entries == []
    assert sorted(path.stem for path in unread) == ["r0", "r1", "r2"]
    listed = Library(folder).entries()
    os.utime(folder / "r1.sward", ns=(1, 1))
    entries, unread = Library(folder, read=read_nothing).known()
    assert told(entries) == told([listed[0], listed[2]])
    assert [path.stem for path in unread] == ["r1"]
