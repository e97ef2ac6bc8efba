"""What is counted between Start and Stop: the file's pulses between the reports that were newest at the two taps."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from dashboards.calibrate.run_notes import RunNotes
from dashboards.calibrate.session_store import SessionStore
from dashboards.context import PageContext
from host.errors import NoAnswerError
from host.events import CALIBRATION, CALIBRATION_END
from host.journal import JournalWriter, read_run
from tests.dashboards.processes import wait_until
from tests.dashboards.walking import Walk
from tests.dashboards.writing import begin


class Written:
    """A run that grows by so many reports at a time; `looked` are the times at which the page was drawn meanwhile."""

    def __init__(self, path: Path) -> None:
        self.path, self.walk = path, Walk()
        self.writer: JournalWriter = begin(path)

    def grow(self, reports: int) -> int:
        """The file's pulses now."""
        for _ in range(reports):
            self.writer.raw_line(self.walk.report(), self.walk.time_s)
        self.writer.flush()
        return int(read_run(self.path).frames["flow_count"][-1])


@pytest.mark.parametrize("looks", [True, False])
def test_the_page_counts_what_the_file_counts(runs: Path, looks: bool) -> None:
    """Water flows all the time, so that every report more or less would show; whether the page looks between or not."""
    written = Written(runs / "2026-05-14T0915-bowling-green.sward")
    written.grow(50)
    with closing(SessionStore(PageContext(runs, runs / "cards"))) as store:
        store.view("meter", "count")  # as the page does when it opens
        for reports, more in ((40, 7), (35, 1), (60, 0)):
            began = written.grow(3)
            store.press("meter", "count", "act", {}, (store.version,))
            for _ in range(5):
                written.grow(reports // 5)
                if looks:
                    store.view("meter", "count")
            ended = written.grow(1)
            store.press("meter", "count", "act", {}, (store.version,))
            written.grow(more)  # what comes before the page is drawn again does not belong to it
            step = store.view("meter", "count").step
            assert step.figure == str(ended - began)
            litres = (ended - began) / 450
            store.press("meter", "count", "enter", {"amount": f"{litres:.3f} L"}, (store.version,))
            assert f"{ended - began} pulses" in store.view("meter", "count").notice
    written.writer.close("complete", "test", 0, written.walk.time_s)


def test_the_run_is_told_that_it_serves_a_calibration(runs: Path) -> None:
    written = Written(runs / "2026-05-14T0915-bowling-green.sward")
    written.grow(50)
    asked: list[tuple[str, str, str]] = []

    def ask(run: Path, request: dict[str, Any]) -> dict[str, Any]:
        asked.append((run.name, request["kind"], request["text"]))
        raise NoAnswerError("nobody answers, and the catch goes on all the same")

    with closing(SessionStore(PageContext(runs, runs / "cards"), notes=RunNotes(ask))) as store:

        def press(button: str, way: str = "count", **typed: str) -> str:
            store.press("meter", way, button, typed, (store.version,))
            return store.view("meter", way).notice

        store.view("meter", "count")
        press("enter", "typed", pulses="900", amount="2 L")  # what is typed needs no run
        written.grow(3)
        press("act")
        written.grow(60)
        press("act")
        assert "Catch 2 saved" in press("enter", amount="2 L")
        assert "What was counted is kept" in press("undo")
        assert store.view("meter", "count").again == "", "what was taken back is not offered"
        assert "Catch 2 saved" in press("enter", amount="2.1 L")
        assert press("over") == press("over") == "Started over."
        wait_until(lambda: len(asked) == 6, f"six words; there are {asked}")
    steps = [(written.path.name, CALIBRATION, "meter")] * 5
    assert asked == [*steps, (written.path.name, CALIBRATION_END, "meter")]
    written.writer.close("complete", "test", 0, written.walk.time_s)
