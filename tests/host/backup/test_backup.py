"""A backup gives back the same bytes, or says in one sentence why not and changes nothing."""

from __future__ import annotations

import json
import math
import os
import shutil
import subprocess
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.backup import Places, open_backup, plan_restore, write_backup
from host.backup.writing import Written
from host.cli.main import main
from host.errors import UserError
from tests.host.backup.crafted import GOOD, crafted, sealed, tree

SAMPLES = Path(__file__).parents[2] / "samples"
NOW = datetime(2026, 5, 14, 9, 15, tzinfo=UTC)
NAMES = st.from_regex(r"[a-z0-9][A-Za-z0-9 äé_+-]{0,12}[a-z0-9]", fullmatch=True)
FILES = st.one_of(
    NAMES.map(lambda name: f"{name}.sward"),
    st.tuples(NAMES, NAMES).map(lambda two: f"{two[0]}/{two[1]}.notes.toml"),
    st.tuples(NAMES, NAMES).map(lambda two: f"cards/{two[0]}/{two[1]}.toml"),
    st.tuples(NAMES, NAMES).map(lambda two: f"cards/{two[0]}/unused/{two[1]}.toml"),
    NAMES.map(lambda name: f"rigs/{name}.toml"),
    st.tuples(NAMES, NAMES).map(lambda two: f"rigs/{two[0]}/{two[1]}.json"),
    NAMES.map(lambda name: f"mixes/{name}.toml"),
    st.just("last-start.toml"),
)
TREES = st.dictionaries(FILES, st.binary(max_size=3000), max_size=12)


def backup(runs: Path, out: Path, recording: Path | None = None, settings_file: Path | None = None) -> Written:
    return write_backup(
        Places.of(runs, settings_file), out, is_recording=lambda run: run == recording, now=NOW, software="test"
    )


def restore(out: Path, runs: Path, settings_file: Path | None = None) -> tuple[str, ...]:
    plan = plan_restore(open_backup(out), Places.of(runs, settings_file))
    plan.carry_out()
    return plan.messages


def filled(folder: Path, files: dict[str, bytes]) -> Path:
    for at, (name, data) in enumerate(files.items()):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        os.utime(path, ns=(at, 1_700_000_000_123_456_789 + at))
    folder.mkdir(exist_ok=True)
    return folder


@given(files=TREES)
@settings(max_examples=40, deadline=None)
def test_what_is_restored_into_an_empty_folder_is_what_was_backed_up(
    files: dict[str, bytes], tmp_path_factory: pytest.TempPathFactory
) -> None:
    tmp = tmp_path_factory.mktemp("backup")
    runs = filled(tmp / "runs", files)
    assert backup(runs, tmp / "out.zip").files == len(files)
    restore(tmp / "out.zip", tmp / "back")
    assert tree(tmp / "back") == tree(runs)
    assert restore(tmp / "out.zip", tmp / "back")[-1] == "Nothing is missing here, so nothing changes."


def test_every_program_for_zip_files_reads_it(tmp_path: Path) -> None:
    """Info-ZIP's unzip tests each entry's CRC-32; the runs it unpacks are those of the folder."""
    unzip = shutil.which("unzip")
    if unzip is None:
        pytest.skip("unzip is not installed")
    runs = filled(tmp_path / "runs", {path.name: path.read_bytes() for path in (SAMPLES / "runs").iterdir()})
    backup(runs, tmp_path / "out.zip")
    subprocess.run([unzip, "-q", str(tmp_path / "out.zip"), "-d", str(tmp_path / "by-hand")], check=True)
    assert {path.name for path in (tmp_path / "by-hand" / "runs").iterdir()} == {path.name for path in runs.iterdir()}
    for path in runs.iterdir():
        assert (tmp_path / "by-hand" / "runs" / path.name).read_bytes() == path.read_bytes()


def test_damage_at_any_byte_is_said_and_changes_nothing(tmp_path: Path) -> None:
    runs = filled(tmp_path / "runs", {"a.sward": b"one\n" * 9, "cards/x/c.toml": b"two"})
    backup(runs, tmp_path / "out.zip")
    whole = (tmp_path / "out.zip").read_bytes()
    damaged = [whole[:at] + bytes([whole[at] ^ 1 << at % 8]) + whole[at + 1 :] for at in range(len(whole))]
    damaged += [whole[:at] for at in range(0, len(whole), 7)] + [whole + b"\n", whole * 2]
    bad = tmp_path / "bad.zip"
    for data in damaged:
        bad.write_bytes(data)
        with pytest.raises(UserError) as refused:
            restore(bad, tmp_path / "back")
        assert str(refused.value).startswith("bad.zip ")
    assert not (tmp_path / "back").exists()


@pytest.mark.parametrize(
    "name",
    ["runs/../out.sward", "/etc/x.sward", "runs//x.sward", "runs/.x.sward", "cards/..\\x.toml", "runs/x.py",
     "runs/c:x.sward", "other/x.sward", "runs/a/b/c/d/e/f.sward", "runs/x\n.sward", "settings.toml/x.toml", "x"],
)  # fmt: skip
def test_no_name_leads_out_of_the_folders(name: str, tmp_path: Path) -> None:
    (tmp_path / "bad.zip").write_bytes(crafted(GOOD | {name: b"x"}))
    with pytest.raises(UserError, match="no backup may"):
        restore(tmp_path / "bad.zip", tmp_path / "back")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bad.zip"]


def entry(name: str, size: int) -> dict[str, object]:
    return {"name": name, "size": size, "sha256": "", "modified_ns": 0}


ODD = {
    "a link": crafted(GOOD, mode=0o120777),
    "a folder": crafted(GOOD, mode=0o040755),
    "an entry more": crafted(GOOD, extra="runs/more.sward"),
    "an entry less": crafted({}, manifest={"files": [entry("runs/a.sward", 0)]}),
    "another size": crafted(GOOD, manifest={"files": [entry(next(iter(GOOD)), 10**15)]}),
    "an infinite size": crafted(GOOD, manifest={"files": [entry(next(iter(GOOD)), 0) | {"size": math.inf}]}),
    "an infinite time": crafted(GOOD, manifest={"files": [entry(next(iter(GOOD)), 0) | {"modified_ns": math.inf}]}),
    "packed in a way of its own": crafted(GOOD, method=zipfile.ZIP_LZMA),
    "no list": crafted(GOOD, manifest={"files": 7}),
    "a later format": crafted(GOOD, manifest={"format": 99}),
    "something else": crafted(GOOD, manifest={"kind": "photos"}),
    "no zip": sealed(b"x" * 400 + b"swardflow backup sha256 " + b"0" * 64),
    "empty": b"",
}  # fmt: skip


@pytest.mark.parametrize("what", ODD)
def test_what_no_backup_holds_is_refused_in_one_sentence(what: str, tmp_path: Path) -> None:
    (tmp_path / "odd.zip").write_bytes(ODD[what])
    with pytest.raises(UserError, match=r"^odd\.zip \w"):
        restore(tmp_path / "odd.zip", tmp_path / "back")
    assert not (tmp_path / "back").exists()


def test_more_than_can_be_taken_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    (tmp_path / "big.zip").write_bytes(crafted({"runs/a.sward": b"0" * 5000}))
    with pytest.raises(UserError, match="larger unpacked"):
        open_backup(tmp_path / "big.zip", most_bytes=4999)


def test_what_differs_is_kept_both_ways(tmp_path: Path) -> None:
    runs = filled(tmp_path / "runs", {"a.sward": b"one\n", "rigs/r.toml": b"old", "b.sward": b"begin\n"})
    own = tmp_path / "own" / "settings.toml"
    own.parent.mkdir()
    own.write_text('units = "us"\n')
    backup(runs, tmp_path / "out.zip", settings_file=own)
    filled(runs, {"a.sward": b"other\n", "rigs/r.toml": b"new", "b.sward": b"begin\nand more\n"})
    own.write_text('units = "metric"\n')
    before = tree(runs)
    said = restore(tmp_path / "out.zip", runs, own)
    after = tree(runs)
    beside = "from-backup-2026-05-14T0915"
    assert {name: after[name] for name in before} == before
    assert own.read_text() == 'units = "metric"\n'
    assert {name: data for name, (data, _) in after.items() if name not in before} == {
        f"{beside}/runs/a.sward": b"one\n",
        f"{beside}/runs/rigs/r.toml": b"old",
        f"{beside}/settings.toml": b'units = "us"\n',
    }
    assert "Went on here after the backup and left alone: b.sward." in said
    assert any(beside in message and "a.sward" in message for message in said)
    restore(tmp_path / "out.zip", runs, own)
    assert tree(runs) == after, "a second restore adds nothing"


def test_a_link_in_the_way_is_not_written_through(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "back").mkdir()
    (tmp_path / "back" / "rigs").symlink_to(tmp_path / "elsewhere")
    (tmp_path / "b.zip").write_bytes(crafted({"runs/rigs/r.toml": b"x"}))
    with pytest.raises(UserError, match="in the way"):
        restore(tmp_path / "b.zip", tmp_path / "back")
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_a_running_run_is_kept_to_its_last_whole_record(tmp_path: Path) -> None:
    runs = filled(tmp_path / "runs", {"a.sward": b"whole\nhal", "b.sward": b"whole\ncut off long ago"})
    written = backup(runs, tmp_path / "out.zip", recording=runs / "a.sward")
    assert written.messages == ("a.sward is being recorded: it is in the backup as far as it is written.",)
    restore(tmp_path / "out.zip", tmp_path / "back")
    kept = {name: data for name, (data, _) in tree(tmp_path / "back").items()}
    assert kept == {"a.sward": b"whole\n", "b.sward": b"whole\ncut off long ago"}


def test_what_is_no_file_of_ours_stays_out(tmp_path: Path) -> None:
    runs = filled(
        tmp_path / "runs",
        {
            "a.sward": b"a",
            "photo.jpg": b"p",
            "demo/d.sward": b"d",
            ".swardflow-index.sqlite": b"i",
            "x/other.toml": b"o",
        },
    )
    (runs / "far.sward").symlink_to(tmp_path / "nowhere")
    written = backup(runs, tmp_path / "out.zip")
    assert zipfile.ZipFile(tmp_path / "out.zip").namelist() == ["runs/a.sward", "manifest.json"]
    assert written.left_out == 1 and "far.sward is a link" in written.messages[0]


def test_an_existing_file_is_not_overwritten_and_a_full_disk_leaves_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SWARDFLOW_SETTINGS", str(tmp_path / "settings.toml"))
    runs = filled(tmp_path / "runs", {"a.sward": os.urandom(50_000)})
    (tmp_path / "out.zip").write_bytes(b"mine")
    assert main(["backup", "--out", str(tmp_path / "out.zip"), "--runs", str(runs)]) == 2
    assert "exists already" in capsys.readouterr().err
    resource = pytest.importorskip("resource", reason="limits of a process are known to POSIX systems alone")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, hard))
    try:
        with pytest.raises(UserError, match="cannot be written"):
            backup(runs, tmp_path / "full.zip")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out.zip", "runs"]
    assert (tmp_path / "out.zip").read_bytes() == b"mine"


def test_the_commands_say_what_they_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SWARDFLOW_SETTINGS", str(tmp_path / "none.toml"))
    runs = filled(tmp_path / "runs", {"a.sward": b"a\n", "cards/x/c.toml": b"c"})
    assert main(["backup", "--out", str(tmp_path), "--runs", str(runs)]) == 0
    (out,) = tmp_path.glob("swardflow-backup-*.zip")
    assert f"{out}: 2 files, 1 run among them." in capsys.readouterr().out
    assert main(["restore", str(out), "--runs", str(tmp_path / "back"), "--look"]) == 0
    assert "Missing here and restored: 1 run and 1 calibration card." in capsys.readouterr().out
    assert not (tmp_path / "back").exists()
    assert main(["restore", str(out), "--runs", str(tmp_path / "back")]) == 0
    assert tree(tmp_path / "back") == tree(runs)


@pytest.mark.parametrize("name", [path.name for path in sorted((SAMPLES / "backups").glob("*.zip"))])
def test_a_backup_of_an_earlier_version(name: str, tmp_path: Path) -> None:
    own = tmp_path / "own" / "settings.toml"
    restore(SAMPLES / "backups" / name, tmp_path / "back", own)
    kept = tree(tmp_path / "back")
    assert set(kept) == {"2026-11-wire-1.1.sward", "cards/harrow-lea/2026-05-meter.toml", "rigs/2026-03-wheel.toml"}
    run = SAMPLES / "runs" / "2026-11-wire-1.1.sward"
    assert kept[run.name][0] == run.read_bytes()
    assert own.read_text() == 'units = "metric"\n'


def test_what_is_written_today_has_its_sample(tmp_path: Path) -> None:
    backup(filled(tmp_path / "runs", {}), tmp_path / "out.zip")
    formats = [
        json.loads(zipfile.ZipFile(path).read("manifest.json"))["format"]
        for path in (tmp_path / "out.zip", *(SAMPLES / "backups").glob("*.zip"))
    ]
    assert formats[0] in formats[1:]
