"""Runs: listed, searched and filtered in a real browser; read in the background; nothing outside the folder opened."""

from __future__ import annotations

import shutil
import threading
import urllib.error
import urllib.request
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from dashboards.run_cache import RunCache
from dashboards.ui.fields import address, asked_for
from host.documents.text import format_text
from host.errors import UserError
from host.journal import read_run
from host.library import Library
from host.recorder.control import ControlServer, socket_path
from host.review.run_document import run_document
from host.units import format_value
from tests.dashboards.page_looks import contrasts, tap_targets
from tests.dashboards.processes import Server, wait_until
from tests.dashboards.walking import Walk
from tests.dashboards.writing import begin
from tests.host.library.made import simulated_run

Serve = Callable[..., Server]
Phone = Callable[..., Any]
RECORDING = next((Path(__file__).parents[2] / "recordings").glob("*.sward"))
DAY = datetime(2026, 5, 1, 9, 15, tzinfo=UTC)


def fill(folder: Path) -> None:
    """Three short runs, the recording with the clog, and files that are none."""
    for number, (site, product) in enumerate([("Rose walk", "iron"), ("Far lawn", "iron"), ("Rose walk", "feed")]):
        notes = {"area": site, "product": product, "operator": "J."}
        simulated_run(folder / f"r{number}.sward", DAY.replace(day=10 + number), notes)
    shutil.copy(RECORDING, folder)
    (folder / "empty.sward").write_bytes(b"")
    (folder / "photo.sward").write_bytes(b"\x89PNG\r\n" + bytes(range(256)) * 50)
    notes = {"area": "Far lawn", "product": "iron", "operator": "J."}
    torn = simulated_run(folder / "torn.sward", DAY.replace(day=11, hour=8), notes)
    torn.write_bytes(torn.read_bytes()[:20_000])


def listed(page: Any) -> list[str]:
    return [text.split(" · ")[0] for text in page.locator(".run-what").all_inner_texts()]


@pytest.mark.browser
def test_listed_newest_first_searched_filtered_opened(runs: Path, serve: Serve, phone: Phone) -> None:
    fill(runs)
    known = [entry for entry in Library(runs).entries() if entry.digest]
    page = phone(serve().address + "/runs")
    wait_until(lambda: page.locator(".run").count() == len(known), "all runs are listed")
    days = page.locator(".run-open").all_inner_texts()
    assert days[0].startswith("14 May 2026")
    assert days[1:3] == ["12 May 2026, 09:15", "11 May 2026, 09:15"]
    volume = sum(entry.digest.volume_m3 for entry in known if entry.digest)
    assert page.inner_text("#runs-totals").startswith(f"{len(known)} runs: {format_value(volume, 'volume', 'us')} on ")
    assert "1 fault" in page.locator(".run").first.inner_text()
    bad = page.inner_text("#runs-bad")
    assert "2 files that cannot be read" in bad
    assert "empty.sward is empty" in bad
    assert "photo.sward is no Swardflow run file" in bad
    assert page.locator(".run", has_text="not complete").count() == 1
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert [one for one in contrasts(page) if one["ratio"] < 7.0] == []
    assert [one for one in tap_targets(page) if one["width"] < 48 or one["height"] < 48] == []

    page.fill("[data-entry=text] input", "r0")
    wait_until(lambda: listed(page) == ["Rose walk"], "searched")
    assert "of 5 in all" in page.inner_text("#runs-totals")
    page.fill("[data-entry=text] input", "")
    page.click("summary")
    page.fill("[data-entry=site] input", "rose")
    page.press("[data-entry=site] input", "Enter")
    wait_until(lambda: listed(page) == ["Rose walk"] * 2, "filtered by site")
    page.fill("[data-entry=first] input", "2026-05-11")
    page.press("[data-entry=first] input", "Enter")
    wait_until(lambda: listed(page) == ["Rose walk"], "filtered by day")
    page.click(".run-open")
    page.wait_for_selector("#run-body .headline")
    wait_until(lambda: "Rose walk" in page.inner_text("h1"), "the run that was tapped")
    assert page.wrong == []


def answer(address: str) -> tuple[int, str]:
    try:
        with urllib.request.urlopen(address, timeout=30) as got:
            return got.status, got.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


def test_no_address_leads_out_of_the_folder(runs: Path, tmp_path: Path, serve: Serve) -> None:
    outside = simulated_run(tmp_path / "outside.sward", DAY, {"secret": "beyond the fence"})
    simulated_run(runs / "inside.sward", DAY)
    (runs / "link.sward").symlink_to(outside)
    (runs / "deep").symlink_to(tmp_path)
    server = serve()
    assert answer(f"{server.address}/runs/report?name=inside")[0] == 200
    stem = str(outside.with_suffix(""))
    names = ["../outside", "%2e%2e/outside", "..%2foutside", "%2e%2e%2foutside", "./inside", "inside/../../outside"]
    names += [quote(stem, safe=""), stem, "link", "deep/outside", "..\\outside", "%00", "", "inside.sward", "%ff"]
    for where in ("/runs/report", "/runs/export.csv"):
        for name in names:
            status, body = answer(f"{server.address}{where}?name={name}")
            assert status == 404, (where, name)
            assert "beyond the fence" not in body
            assert "Traceback" not in body
    assert answer(f"{server.address}/runs/../../etc/passwd")[0] == 404
    status, page = answer(f"{server.address}/nowhere")
    assert status == 404 and 'href="/home"' in page, "and there is a way on"
    run_cache = RunCache(runs)
    for name in ("link", "deep/outside"):
        with pytest.raises(UserError, match="out of the runs folder"):
            run_cache.path_of(name)


def test_names_of_any_bytes_come_back_from_an_address() -> None:
    for name in ("2026/green & red", "ü?#%", b"\xff\xfe".decode("utf-8", "surrogateescape")):
        assert asked_for(address("/run", name=name).partition("?")[2], "name") == name


def test_new_files_are_read_in_the_background(runs: Path) -> None:
    simulated_run(runs / "old.sward", DAY)
    Library(runs).entries()
    simulated_run(runs / "new.sward", DAY.replace(day=2))
    may_read = threading.Event()

    def read(path: Path) -> Any:
        assert may_read.wait(30.0)
        return read_run(path)

    run_cache = RunCache(runs, read=read)
    look = run_cache.look(0.05)
    assert [entry.path.stem for entry in look.entries] == ["old"]
    assert ([path.stem for path in look.unread], look.done) == (["new"], 0)
    may_read.set()
    look = run_cache.look(30.0)
    assert [entry.path.stem for entry in look.entries] == ["old", "new"]
    assert look.unread == []


def test_a_run_is_being_recorded_while_its_recorder_answers(runs: Path) -> None:
    writer = begin(runs / "now.sward")
    run_cache = RunCache(runs)
    (entry,) = run_cache.look(30.0).entries
    assert not run_cache.is_recording(entry)
    recorder = ControlServer(socket_path(entry.path), lambda _: {"state": "recording"})
    try:
        assert run_cache.is_recording(entry)
    finally:
        recorder.close()
        writer.close("complete", "test", 0, 0.0)


def test_a_run_whose_file_was_lost_is_found_in_the_file_it_was_saved_in_and_says_so(runs: Path) -> None:
    """An address that was opened before goes on to it; the report says what happened, and a sleep of the computer."""
    writer, walk = begin(runs / "now.sward"), Walk()
    for nth in range(40):
        writer.raw_line(walk.report(), walk.time_s)
        if nth == 20:
            (runs / "now.sward").unlink()
            writer.look_at_file()
            writer.event("computer_paused", walk.time_s, seconds=300.0)
    writer.close("complete", "test", 0, walk.time_s)
    run_cache = RunCache(runs)
    review = run_cache.review("now")
    assert run_cache.path_of("now") == runs / "now-rescued.sward"
    text = format_text(run_document(review, "us"), everything=True)
    assert "The run file now.sward was lost: it was deleted or moved away. The run was saved again in this" in text
    assert "The computer slept for 5 min 00.0 s. Nothing was recorded meanwhile." in text
    with pytest.raises(UserError, match="no run"):
        run_cache.path_of("no")
