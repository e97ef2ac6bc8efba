"""The page Backup in a browser of a phone's size, and its addresses over real sockets."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dashboards.backup import routes
from tests.dashboards.processes import Server
from tests.dashboards.shared import SharedServer, ask
from tests.host.backup.crafted import GOOD, crafted

SAMPLE = Path(__file__).parents[1] / "samples" / "runs" / "2026-11-wire-1.1.sward"


def sent(server: Server, body: bytes) -> tuple[int, dict[str, Any]]:
    request = urllib.request.Request(server.address + routes.SENT, data=body, method="POST")
    try:
        with urllib.request.urlopen(request, timeout=20) as answer:
            return answer.status, json.load(answer)
    except urllib.error.HTTPError as error:
        with error:
            return error.code, json.load(error)


@pytest.mark.browser
def test_one_button_gives_everything_and_a_second_tap_puts_it_back(
    serve: Callable[..., Server], phone: Callable[..., Any], runs: Path, tmp_path: Path
) -> None:
    (runs / SAMPLE.name).write_bytes(SAMPLE.read_bytes())
    server = serve()
    page = phone(server.address + "/backup")
    with page.expect_download() as download:
        page.get_by_role("link", name="Save a backup").click()
    download.value.save_as(tmp_path / download.value.suggested_filename)
    (kept,) = tmp_path.glob("swardflow-backup-*.zip")
    assert zipfile.ZipFile(kept).read(f"runs/{SAMPLE.name}") == SAMPLE.read_bytes()

    def choose() -> None:
        (runs / SAMPLE.name).unlink()
        with page.expect_file_chooser() as chooser:
            page.get_by_role("button", name="Choose a backup").click()
        chooser.value.set_files(kept)
        page.get_by_text("Missing here and restored: 1 run.").wait_for()
        assert not (runs / SAMPLE.name).exists(), "nothing changes before the second tap"
        page.get_by_role("button", name="Restore", exact=True).click()

    page.route("**/backup/restore*", lambda route: (route.fetch(), route.abort()), times=1)
    choose()
    page.get_by_text("It may have been restored").wait_for()
    assert (runs / SAMPLE.name).exists(), "only the answer was lost"
    choose()
    page.get_by_text("Restored.", exact=True).wait_for()
    page.get_by_role("button", name="Restore", exact=True).wait_for(state="hidden")
    assert (runs / SAMPLE.name).read_bytes() == SAMPLE.read_bytes()
    assert not list(runs.glob(".sent-backup-*")), "what was sent is gone"


def test_what_is_no_whole_backup_or_too_large_is_refused(serve: Callable[..., Server], runs: Path) -> None:
    server = serve()
    whole = crafted(GOOD)
    status, answer = sent(server, whole[:-1])
    assert (status, answer["ok"]) == (409, False)
    assert answer["messages"][0].startswith("This file is not a whole backup")
    status, answer = sent(server, crafted({"runs/../x.sward": b""}))
    assert status == 409 and "nothing is restored" in answer["messages"][0]
    status, answer = sent(server, b"x" * 200_000)
    assert status == 409, "more than a callback may have is read, and judged"
    assert list(runs.iterdir()) == []
    headers = {"Content-Length": str(routes.MOST_SENT + 1), "Content-Type": "application/zip"}
    told = ask(f"127.0.0.1:{server.port}", routes.SENT, method="POST", body=None, headers=headers)
    assert told.status == 413 and "larger than 1 GB" in told.text


def test_a_key_holds_once(serve: Callable[..., Server], runs: Path) -> None:
    server = serve()
    _, answer = sent(server, crafted(GOOD))
    at, path = f"127.0.0.1:{server.port}", f"{routes.RESTORE}?key={answer['key']}"
    assert ask(at, path, method="POST", body=b"").status == 200
    assert [run.name for run in runs.iterdir()] == [name.removeprefix("runs/") for name in GOOD]
    assert ask(at, path, method="POST", body=b"").status == 409


def test_who_may_only_look_restores_nothing(runs: Path, tmp_path: Path) -> None:
    with SharedServer(runs, tmp_path / "log", "--look-only") as server:
        cookie = {"Cookie": server.type_code(server.there, server.code()).cookie}
        for path in (routes.SENT, f"{routes.RESTORE}?key=x"):
            told = ask(server.there, path, method="POST", body=crafted(GOOD), headers=cookie)
            assert told.status == 403 and "only look" in told.text
        assert list(runs.iterdir()) == []
