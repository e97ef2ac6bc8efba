"""The recorder: what comes over the link goes into the run file. Nothing here waits for anybody who looks on."""

from __future__ import annotations

import itertools
import os
import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

from firmware_protocol.messages import outputs_argument
from host.errors import BadInputError, NotNowError, NotSavedError
from host.events import (
    ALARM_MUTED,
    ALARM_SEEN,
    ALARM_UNMUTED,
    CALIBRATION,
    CALIBRATION_END,
    EVENT_KEYS,
    MOST_M3,
    UNDOABLE,
    WORK_PAUSED,
    WORK_RESUMED,
    note_key,
)
from host.journal import JournalWriter, Snapshot
from host.journal.files import Files
from host.journal.writer import RECORDING
from host.link import LineRead, Link, LinkChange
from host.recorder.control import ControlServer, recorder_at, socket_path
from host.recorder.pauses import PauseWatch
from host.rig import Rig
from host.rig.against_board import DEAF, NO_IDENTITY, board_misfits, inputs_of, interval_not_taken, unfiltered_message
from host.rig.noted import check_note, check_refill
from host.run_folder import file_names, make_folder, numbered

_MOST_SHELTERED = 5  # of one name in one folder
_FLUSH_S = 0.25  # between looks at a full disk while nothing arrives
_AT_ONCE = 1_000  # items handled before the file gets them: a backlog goes out in large pieces
_TELLABLE = UNDOABLE
_TAPPED = (ALARM_SEEN, ALARM_MUTED, ALARM_UNMUTED, WORK_PAUSED, WORK_RESUMED, CALIBRATION, CALIBRATION_END)


@dataclass(frozen=True, slots=True)
class RunPlan:
    """What a recording is told before it begins. `name` goes into the file's name; notes have free keys."""

    folder: Path
    name: str
    rig_toml: str
    notes: Mapping[str, str] = field(default_factory=dict)
    calibrations: tuple[Mapping[str, Any], ...] = ()
    tank_m3: float | None = None  # at the start; None for a full tank
    rig: Rig | None = None  # `rig_toml`, read: the board is held against it
    filters: tuple[int, ...] = ()  # of the board's inputs: see Link
    mix_toml: str = ""  # the mixing sheet of what is in the tank


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a recording ended; `rest` is where the bytes lie that a full disk would not take, None if it took all.

    `rescued` has a sentence for each file that was lost under the run; `in_place` is whether the file was there at the
    end, as it was written.
    """

    run: Path
    lines: int
    wire_damage: int
    lines_lost: int
    rest: Path | None
    rescued: tuple[str, ...] = ()
    in_place: bool = True


@dataclass(frozen=True, slots=True)
class _Told:
    """Something said by a person, to be written in its turn."""

    stamp: float
    what: str  # a kind of event, "note", or "stop"
    detail: dict[str, Any]


class Recorder:
    """One recording, from opening the port to the trailer.

    `open_link` makes the link from the address and the queue that it is to fill; `shelters` are folders for the rest
    of a run whose own disk is full, the first that takes it is used; `pauses` notices when the computer stood still.
    The wall clock is asked once, for the date of the run; every other time is of a clock that never jumps.
    """

    def __init__(
        self,
        address: str,
        plan: RunPlan,
        open_link: Callable[[str, SimpleQueue[Any]], Link] | None = None,
        files: Files | None = None,
        shelters: tuple[Path, ...] = (Path("~"), Path("/var/tmp"), Path("/tmp")),
        pauses: PauseWatch | None = None,
    ) -> None:
        self._address = address
        self._plan = plan
        self._files = files
        self._shelters = shelters
        self._inbox: SimpleQueue[LineRead | LinkChange | _Told | None] = SimpleQueue()
        self._link = (open_link or _link)(address, self._inbox)
        self._link.filters = plan.filters
        self._link.interval.wanted_ms = plan.rig.report_interval_ms if plan.rig else None
        self._zero = 0.0
        self._reason = ""
        self._writer: JournalWriter | None = None
        self._told: Counter[str] = Counter()  # refills and marks that still hold
        self._undoing = threading.Lock()
        self._controls: list[ControlServer] = []
        self._reachable_as: Path | None = None
        self._pauses = pauses or PauseWatch()

    def start(self, board_wait_s: float = 5.0, say: Callable[[str], None] | None = None) -> Path:
        """Open the port, hear the board, begin the run file, and return its path; `say` gets a message meanwhile.

        Raises UserError when any of it fails. No run file is begun before the board has been heard.
        """
        started, self._zero = datetime.now().astimezone(), time.monotonic()
        folder = make_folder(self._plan.folder)
        if other := recorder_at(self._address):
            raise NotNowError(
                f"port {self._address} is in use: process {other.get('pid')} records {other.get('run')} from it; "
                "end that run, or take the port over"
            )
        self._link.start()
        try:
            self._link.wait_for_board(board_wait_s, any_protocol=True, say=say)
            self._writer = self._begin(folder, started)
            self._follow_the_file(self._writer)
        except BaseException:
            self._link.stop()
            if self._writer:
                self._writer.close("failed", "did not start", 0, 0.0)
            raise
        for key, value in self._plan.notes.items():
            self._writer.note(key, value, 0.0)
        tank = {} if self._plan.tank_m3 is None else {"tank_m3": self._plan.tank_m3}
        self._writer.event("run_start", 0.0, **tank)
        if self._plan.mix_toml:
            self._writer.event("mix", 0.0, toml=self._plan.mix_toml)
        return self._writer.path

    def stop(self, reason: str) -> None:
        """Ask `run` to take what has arrived and end; may be called from a signal handler or any thread."""
        self._inbox.put(_Told(time.monotonic(), "stop", {"reason": reason}))

    def run(self) -> Outcome:
        """Record until told to stop, then drain, write the trailer, and return how it went."""
        writer = self._writer
        if writer is None:
            raise RuntimeError("start the recorder before running it")
        status = "failed"
        rest: Path | None
        try:
            while self._step(writer):
                pass
            status = "complete"
        except BaseException as error:
            self._reason = self._reason or f"{type(error).__name__}: {error}"
            raise
        finally:
            if status == "failed":
                self._link.stop()
            rest = self._end(writer, status)
        counts = (self._link.lines, self._link.wire_damage, writer.lines_lost)
        if writer.lost and rest:
            told = f"the run file {writer.path} was lost: {writer.lost}; the run was saved again, in {rest}"
            return Outcome(rest, *counts, None, (*writer.rescued, told))
        in_place = rest is not None or _holds(writer.path, writer.bytes_written)
        return Outcome(writer.path, *counts, rest, tuple(writer.rescued), in_place)

    def status(self) -> dict[str, Any]:
        """How things stand, ready for JSON; times in seconds."""
        link, writer = self._link, self._writer
        identity = link.identity
        return {
            "pid": os.getpid(),
            "run": str(writer.path) if writer else None,
            "state": ("stopping" if self._reason else writer.state) if writer else "starting",
            "trouble": (writer.trouble or writer.sync_trouble) if writer else "",
            "rescued": list(writer.rescued) if writer else [],
            "run_s": time.monotonic() - self._zero,
            "port": self._address,
            "link": "closed" if self._reason else link.state,
            "link_trouble": link.trouble,
            "quiet_s": link.quiet_s,
            "lines": link.lines,
            "wire_damage": link.wire_damage,
            "lines_lost": writer.lines_lost if writer else 0,
            "bytes_written": writer.bytes_written if writer else 0,
            "bytes_waiting": writer.bytes_waiting if writer else 0,
            "board": asdict(identity) if identity else None,
            "notices": self._notices(),
        }

    def _notices(self) -> list[str]:
        """That the computer slept; what of the board does not fit the rig, and what it does not do: a sentence each."""
        link, rig = self._link, self._plan.rig
        said = [one for one in (self._pauses.said, DEAF if link.deaf else "") if one]
        if link.nameless:
            return [*said, NO_IDENTITY]
        if link.identity and rig:
            said += board_misfits(rig, asdict(link.identity))
        if rig and (unfiltered := unfiltered_message(rig, inputs_of(link.not_taken))):
            said.append(unfiltered)
        asked = link.interval
        if asked.not_taken and not link.deaf:
            said.append(interval_not_taken(asked.wanted_ms or 0, asked.in_force_ms, refused=asked.refused))
        return said

    def _begin(self, folder: Path, started: datetime) -> JournalWriter:
        header: dict[str, Any] = {"started": started.isoformat(timespec="milliseconds"), "port": self._address}
        header |= {"board": asdict(self._link.identity) if self._link.identity else None}
        snapshot = Snapshot(header, self._plan.rig_toml, self._plan.calibrations)
        for name in file_names(started, self._plan.name):
            try:
                return JournalWriter(folder / name, snapshot, self._files)
            except FileExistsError:
                continue
        raise NotSavedError(f"{folder} already holds a hundred runs of this minute and name: choose another folder")

    def _step(self, writer: JournalWriter) -> bool:
        """Take what is there, or wait a little for something; False once everything has been taken."""
        try:
            item = self._inbox.get(timeout=_FLUSH_S)
            for _ in range(_AT_ONCE):
                if item is None:
                    return False
                self._take(item, writer)
                item = self._inbox.get_nowait()
            if item is None:
                return False
            self._take(item, writer)
        except Empty:
            pass
        writer.flush()
        if paused_s := self._pauses.look():
            writer.event("computer_paused", time.monotonic() - self._zero, seconds=round(paused_s, 1))
        self._follow_the_file(writer)
        return True

    def _follow_the_file(self, writer: JournalWriter) -> None:
        """Answer under the name of a file that took the place of one that was lost, too."""
        if self._reachable_as != writer.path:
            self._reachable_as = writer.path
            self._controls.append(_listen(writer.path, self._answer))

    def _take(self, item: LineRead | LinkChange | _Told, writer: JournalWriter) -> None:
        host_s = max(item.stamp - self._zero, 0.0)
        if isinstance(item, LineRead):
            writer.raw_line(item.raw, host_s)
        elif isinstance(item, LinkChange):
            writer.event(item.kind, host_s, **item.detail)
        elif item.what == "note":
            writer.note(item.detail["key"], item.detail["value"], host_s)
        elif item.what != "stop":
            writer.event(item.what, host_s, **item.detail)
        elif not self._reason:
            self._reason = item.detail["reason"]
            self._link.stop()  # its last items, and then None, are in the inbox when this returns

    def _end(self, writer: JournalWriter, status: str) -> Path | None:
        host_s = max(time.monotonic() - self._zero, 0.0)
        writer.event("run_end", host_s, reason=self._reason)
        rest = writer.close(status, self._reason, self._link.wire_damage, host_s)
        for control in self._controls:
            control.close()
        name = writer.path.name if writer.lost else f"{writer.path.name}.rest"
        return self._shelter(name, rest) if rest else None

    def _shelter(self, name: str, rest: bytes) -> Path:
        places = itertools.product(self._shelters, numbered(Path(name).stem, _MOST_SHELTERED))
        for path in (folder.expanduser() / (stem + Path(name).suffix) for folder, stem in places):
            try:
                with path.open("xb") as file:
                    file.write(rest)
                    file.flush()
                    os.fsync(file.fileno())
            except OSError:
                continue
            return path
        raise NotSavedError(
            f"no disk takes the last {len(rest)} bytes of run {name}: they are lost; make room before the next"
        )

    def _answer(self, request: dict[str, Any]) -> dict[str, Any]:
        """Reply to a request of the control socket."""
        match request.get("ask"):
            case "status":
                return self.status()
            case "tail":
                offset = int(request["from"]) if isinstance(request.get("from"), int) else 0
                return {"from": offset, "data": self._writer.tail(offset).decode("ascii") if self._writer else ""}
            case "event" if request.get("kind") in (*_TELLABLE, *_TAPPED):
                detail = _event_detail(request)
                check_refill(detail, self._plan.rig)
                self._tell(str(request["kind"]), detail)
                self._told[str(request["kind"])] += 1
            case "undo":
                self._undo(str(request.get("of", "")), _by(request))
            case "mark_text":
                if not self._told["mark"]:
                    raise NotNowError("there is no mark to give a word to")
                self._tell("mark_text", {"text": str(request.get("text", ""))} | _by(request))
            case "event":
                raise BadInputError(f"no such event can be told: choose {' or '.join(_TELLABLE)}")
            case "note":
                key, value = note_key(str(request.get("key", "text"))), str(request.get("value", ""))
                check_note(key, value, self._plan.rig)
                self._tell("note", {"key": key, "value": value})
            case "output":
                buzzer, light, tenths = (_number(request, key) for key in ("buzzer", "light", "tenths"))
                ack = self._link.command("o", outputs_argument(buzzer & 3, light & 3, tenths & 0xFFFF))
                return {"done": True, "value": ack.value}
            case "stop":
                self.stop(str(request.get("reason", "told to stop")))
            case other:
                raise BadInputError(
                    f"the recorder knows no request {other!r}: is the asking program of another version?"
                )
        return {"done": True}

    def _undo(self, of: str, by: dict[str, str]) -> None:
        """Take the last refill or mark back."""
        if of not in UNDOABLE:
            raise BadInputError(f"only {' or '.join(UNDOABLE)} can be undone")
        with self._undoing:
            if not self._told[of]:
                raise NotNowError(f"there is no {of} to undo in this run")
            self._tell("undo", {"of": of} | by)
            self._told[of] -= 1

    def _tell(self, what: str, detail: dict[str, Any]) -> None:
        if self._reason:
            raise NotNowError("the recording is ending and takes no more")
        self._inbox.put(_Told(time.monotonic(), what, detail))


def _event_detail(request: Mapping[str, Any]) -> dict[str, Any]:
    """What the asked-for event carries, of the keys that its kind has. Raises UserError for a volume that is none."""
    keys = EVENT_KEYS[request["kind"]]
    volumes = {key: request[key] for key in ("added_m3", "to_m3") if key in keys and key in request}
    for key, value in volumes.items():
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < MOST_M3:
            raise BadInputError(f"{key} must be a volume in m³ of 0 or more, not {value!r}")
    by = _by(request) if "by" in keys else {}
    return ({"text": str(request.get("text", ""))} if "text" in keys else {}) | volumes | by


def _by(request: Mapping[str, Any]) -> dict[str, str]:
    """Who asks, where that is said."""
    return {"by": str(request["by"])} if request.get("by") else {}


def is_alarm(status: Mapping[str, Any]) -> bool:
    """Whether a status must be shown as an alarm: the disk takes nothing, the file was lost, no board is heard."""
    trouble = status.get("state") not in (RECORDING, "stopping") or bool(status.get("rescued"))
    return trouble or status.get("link") not in ("ok", "closed")


def _listen(run: Path, answer: Callable[[dict[str, Any]], dict[str, Any]]) -> ControlServer:
    path = socket_path(run)
    try:
        return ControlServer(path, answer)
    except OSError as error:
        raise NotSavedError(
            f"the recorder cannot be made reachable for other programs: {error.strerror or error}; "
            f"check that {path.parent} is writable"
        ) from None


def _link(address: str, items: SimpleQueue[Any]) -> Link:
    return Link(address, items=items)


def _holds(path: Path, size: int) -> bool:
    """Whether the file is there with so many bytes."""
    try:
        return path.stat().st_size == size
    except OSError:
        return False


def _number(request: dict[str, Any], key: str) -> int:
    value = request.get(key, 0)
    if not isinstance(value, int):
        raise BadInputError(f"{key} must be a whole number")
    return value
