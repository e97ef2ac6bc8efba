"""The thread that follows the run being recorded and publishes its newest row.

It only reads. Nothing it does, and nothing that happens to it, is felt by the recorder.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

from dashboards.live.broadcaster import Broadcaster
from dashboards.live.recorder_client import LIVE, RECORDING, RecorderState
from dashboards.live.run_screen import RunScreen
from dashboards.ui.fields import address
from host.documents.words import sentence
from host.errors import UserError
from host.run_folder import QUIET_S, newest_run, run_name

POLL_S = 0.01  # a read at the end of a file costs microseconds; a line waits 5 ms on average
LOOK_AROUND_S = 1.0  # how often a newer run is looked for
FLOWING_S = 1.0  # lines that came less than this ago say that the board is there, whatever the recorder says
BEHIND = 1 << 16  # bytes at once that only come while catching up: what they hold is passed, not shown


class Source(Protocol):
    """What has been written to a run since the last time it was asked."""

    def poll(self) -> bytes:
        """The next bytes, empty when there are none yet."""
        ...

    def close(self) -> None:
        """Let go of the file."""
        ...


class RecorderSide(Protocol):
    """The way to one run and its recorder, whose state is kept up to date elsewhere so that asking never waits."""

    def open_source(self, run: Path) -> Source:
        """Follow a run; UserError when it cannot be opened."""
        ...

    def watch(self, run: Path | None) -> None:
        """Which run to ask about from now on."""
        ...

    def state(self) -> RecorderState:
        """What is known at the moment."""
        ...


class LiveFollower:
    """Follows one given run, or always the newest in the folder. `step` is one turn; `start` lets a thread turn."""

    def __init__(
        self,
        folder: Path,
        run: Path | None,
        newest: Broadcaster,
        recorder: RecorderSide,
        *,
        clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self._folder = folder
        self._fixed = run
        self._newest = newest
        self._recorder = recorder
        self._clock = clock
        self._wall = wall
        self.units = ""  # in place of the rig's own
        self.alarm: Callable[[], None] = lambda: None  # called when a fault is raised live; must not wait
        self._source: Source | None = None
        self._path: Path | None = None
        self._screen = RunScreen("")
        self._read_at: float | None = None
        self._looked_at = -LOOK_AROUND_S
        self._shown: tuple[Any, ...] | None = None
        self._trouble = ""
        self._unshown = False  # numbers have been read that no screen was given
        self._published = 0  # reports of this run that the newest message and those before it stand for
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def path(self) -> Path | None:
        """The run that is followed at the moment."""
        return self._path

    def is_live(self) -> bool:
        """Whether numbers come in: a run that has not ended, and was not left behind by a recorder that is gone."""
        read_at = self._read_at
        flowing = read_at is not None and self._clock() - read_at < QUIET_S
        return self._path is not None and not self._screen.ended and (flowing or self._recorder.state().code in LIVE)

    def is_known(self) -> bool:
        """Whether `is_live` rests on a look at the folder and on an answer of the recorder, or its silence."""
        if self._looked_at < 0 and self._path is None:
            return False
        return self._path is None or self._screen.ended or self.is_live() or self._recorder.state().code != "unknown"

    @property
    def volume_unit(self) -> str:
        """The unit of tank fillings of the rig at hand."""
        return self._screen.volume_unit

    def start(self) -> None:
        """Let a thread of its own turn until `stop`."""
        self._thread = threading.Thread(target=self._turn, name="follower", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End the thread and let go of the file."""
        self._stop.set()
        if self._thread:
            self._thread.join()
        if self._source:
            self._source.close()

    def _turn(self) -> None:
        while not self._stop.wait(POLL_S):
            try:
                self.step()
            except (OSError, UserError) as error:  # a pulled-out stick, a network folder gone: say so and try again
                self._trouble = str(error)
                self._publish_if_changed(fresh=False)
                self._stop.wait(LOOK_AROUND_S)

    def step(self) -> None:
        """Look for a newer run when it is time, read on, publish what is new."""
        now = self._clock()
        if now - self._looked_at >= LOOK_AROUND_S:
            self._looked_at = now
            self._look_around(now)
        data = self._source.poll() if self._source else b""
        raised = self._screen.raised
        caught_up = self._read_at is not None and len(data) < BEHIND
        if data and self._screen.push(data):
            self._read_at = self._moment_of_reading(now)
            if self._screen.raised > raised and caught_up and not self._screen.ended:
                self.alarm()
            self._unshown = True
        if len(data) < BEHIND:
            self._publish_if_changed(self._unshown)
            self._unshown = False

    def _moment_of_reading(self, now: float) -> float:
        """`now`, except for what was in the file before it was opened: that is as old as the file's last change."""
        if self._read_at is not None or self._path is None:
            return now
        return now - max(0.0, self._wall() - self._path.stat().st_mtime)

    def _look_around(self, now: float) -> None:
        self._trouble = ""
        path = self._to_follow(now)
        if path is None or path == self._path or not path.exists():
            return
        if self._source:
            self._source.close()
        try:
            self._source = self._recorder.open_source(path)
        except UserError as error:
            self._source, self._trouble = None, str(error)
            return
        self._path, self._read_at, self._screen = path, None, RunScreen(path.stem, path, self._folder, self.units)
        self._published = 0
        self._recorder.watch(path)

    def _to_follow(self, now: float) -> Path | None:
        """The file that the run goes on in when its own was lost, the newest run when there is nothing to wait for."""
        now_in = self._recorder.state().now_in
        if self._path is not None and now_in not in ("", self._path.name):
            moved = self._path.with_name(now_in)
            self._fixed = self._fixed and moved
            return moved
        quiet = self._read_at is None or now - self._read_at > QUIET_S
        if self._path is not None and not (self._screen.ended or quiet):
            return None
        return self._fixed or newest_run(self._folder, self._wall)

    def _publish_if_changed(self, fresh: bool) -> None:
        state = RecorderState("ended") if self._screen.ended else self._recorder.state()
        flowing = self._read_at is not None and self._clock() - self._read_at < FLOWING_S
        link = "unknown" if state.code == "silent" and not flowing else state.link
        shown = (self._path, state, link, self._trouble, self._screen.status())
        if not fresh and shown == self._shown:
            return
        self._shown = shown
        row = self._screen.row(link)
        row |= {"recording": state.code, "recording_words": RECORDING[state.code], "run_link": self._link_to_run()}
        row["notice"] = sentence(self._trouble or row["notice"] or state.detail or self._no_run())
        row["aside"] = sentence(state.aside)
        reports, self._published = self._screen.frames - self._published, self._screen.frames
        figures = self._screen.figures(state.code)
        self._newest.publish(row, self._screen.trace(), self._read_at, reports, figures)

    def _link_to_run(self) -> str:
        """Where the run can be looked at; the list of runs for one that is not in the folder."""
        if self._path is None or not self._path.is_relative_to(self._folder):
            return "/runs"
        return address("/run", name=run_name(self._path, self._folder))

    def _no_run(self) -> str:
        if self._path is not None:
            return ""
        if self._fixed is not None:
            return f"there is no run {self._fixed.name} yet; this page shows it once there is"
        return "no run yet: start one from the page Start"
