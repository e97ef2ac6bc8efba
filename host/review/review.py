"""One run, reviewed: the same pipeline as the live page, over the whole file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from host.errors import UserError
from host.journal import Happening, RunFile, read_run
from host.pipeline import Pass, Pipeline, Signals
from host.rig import Rig, load_rig, rig_from_toml

BLOCK_FRAMES = 16_384  # worked on together: fits the processor's cache


@dataclass(frozen=True)
class Totals:
    """Sums over a run or over the part of it seen so far. SI units; rates None before anything was sprayed."""

    volume_m3: float
    area_m2: float
    distance_m: float
    spraying_s: float
    rate_m3_m2: float | None  # volume sprayed on the move, over area
    rate_u_m3_m2: float | None  # its standard uncertainty
    off_target_s: float
    off_target_m2: float
    standing_s: float
    standing_m3: float
    tank_left_m3: float


@dataclass(frozen=True)
class Health:
    """How far the recording can be trusted."""

    frames: int
    duration_s: float  # from the first to the last frame, by the recorder's clock
    lost_frames: int  # by the board's sequence numbers
    wire_damage: int  # lines damaged between board and computer
    damaged_records: int  # places in the file that could not be verified
    lost_records: int  # records that the file's end counts and that could not be read
    resets: int  # restarts of the board
    clock_scale: float  # host seconds per board second
    status: str  # how the recording ended; "no end record" when it was cut off
    complete: bool


@dataclass(frozen=True)
class Review:
    """All of it."""

    run: RunFile
    rig: Rig
    totals: Totals
    passes: list[Pass]
    health: Health

    @property
    def started(self) -> datetime | None:
        """Wall-clock start, as the recorder's computer had it."""
        try:
            return datetime.fromisoformat(str(self.run.header.get("started", "")))
        except ValueError:
            return None

    def at(self, host_s: float) -> str:
        """Time of day of a moment of the run; seconds from its start when the wall clock is not known."""
        if self.started is None:
            return f"+{host_s:.0f} s"
        return (self.started + timedelta(seconds=host_s)).strftime("%H:%M:%S")

    @property
    def notes(self) -> dict[str, str]:
        """The newest note under each key."""
        return {str(n.detail.get("key", "")): str(n.detail.get("value", "")) for n in self.run.notes}


def review_run(path: Path, rig_path: Path | None = None) -> Review:
    """Review the run file at `path`, under the rig recorded in it or under the one at `rig_path`.

    Raises UserError when the file is no readable run, or holds no readable rig and none is given.
    """
    run = read_run(path)
    pipeline = Pipeline(rig_of(run, rig_path))
    last: Signals | None = None
    for signals in signals_of(run, pipeline):
        last = signals if len(signals) else last
    return Review(run, pipeline.rig, totals_of(pipeline, last), pipeline.passes, health_of(run, last))


def rig_of(run: RunFile, rig_path: Path | None = None) -> Rig:
    """The rig to read `run` under.

    Raises UserError when there is none, or it cannot be read.
    """
    if rig_path is not None:
        return load_rig(rig_path)
    if not run.rig_toml:
        raise UserError(f"the rig recorded in {run.path} is damaged beyond reading: give the rig file with --rig")
    return rig_from_toml(run.rig_toml, where=f"the rig recorded in {run.path}")


def signals_of(run: RunFile, pipeline: Pipeline) -> Iterator[Signals]:
    """Signals of the whole run in blocks, at least one; `pipeline` must be fresh and is finished afterwards."""
    happenings = sorted(run.happenings, key=lambda happening: happening.before_frame)
    place = 0
    for start in range(0, max(len(run.frames), 1), BLOCK_FRAMES):
        end = start + BLOCK_FRAMES
        here = []
        # What lies behind the last frame belongs to the last block.
        while place < len(happenings) and (happenings[place].before_frame < end or end >= len(run.frames)):
            h = happenings[place]
            here.append(Happening(h.host_s, h.before_frame - start, h.kind, h.detail))
            place += 1
        yield pipeline.push(run.frames[start:end], here)
    pipeline.finish()


def totals_of(pipeline: Pipeline, last: Signals | None) -> Totals:
    """Totals as they stand after the last frame of `last`."""
    if last is None or not len(last):
        return Totals(0.0, 0.0, 0.0, 0.0, None, None, 0.0, 0.0, 0.0, 0.0, pipeline.rig.tank.volume_m3)
    value: dict[str, float] = {
        name: float(getattr(last, name)[-1])
        for name in Totals.__dataclass_fields__
        if name not in ("rate_m3_m2", "rate_u_m3_m2")
    }
    rate = (value["volume_m3"] - value["standing_m3"]) / value["area_m2"] if value["area_m2"] > 0 else None
    uncertainty = None if rate is None else rate * pipeline.relative_u
    return Totals(rate_m3_m2=rate, rate_u_m3_m2=uncertainty, **value)


def health_of(run: RunFile, last: Signals | None) -> Health:
    """Health of a recording whose signals end with `last`."""
    seen = last is not None and len(last) > 0
    trailer: dict[str, Any] = run.trailer or {}
    return Health(
        frames=len(run.frames),
        duration_s=float(run.frames["host_s"][-1] - run.frames["host_s"][0]) if len(run.frames) else 0.0,
        lost_frames=int(last.lost_frames[-1]) if last is not None and seen else 0,
        wire_damage=run.wire_damage,
        damaged_records=run.damaged,
        lost_records=run.lost_records,
        resets=int(last.resets[-1]) if last is not None and seen else 0,
        clock_scale=float(last.clock_scale[-1]) if last is not None and seen else 1.0,
        status=str(trailer.get("status", "no end record")),
        complete=run.complete,
    )
