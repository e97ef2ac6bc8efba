"""A run as it is recorded, for other programs: one row for each report, as the live page computes it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from host.calibrate.boom_card import catch_held
from host.calibrate.cards import Card, apply_cards, cards_of_run
from host.errors import DamagedFileError
from host.frames import FRAME_DTYPE, Event
from host.journal import RunReader
from host.journal.runs import check_schema
from host.pipeline import Pipeline
from host.pipeline.live import live_row
from host.rig import Rig, rig_from_toml


class LiveRows:
    """Reads on in one run. `ended` is set when the run has ended in good order."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._reader = RunReader()
        self._rig: Rig | None = None
        self._cards: list[Card] = []
        self._pipeline: Pipeline | None = None
        self._before: list[Event] = []  # what came before the first report
        self.ended = False

    def push(self, data: bytes) -> Iterator[dict[str, Any]]:
        """Rows of the reports in the next bytes of the file: see `host.pipeline.live.live_row`; SI units in the keys.

        Raises UserError for a run without a readable rig, or of a newer version.
        """
        batch = self._reader.push(data)
        for event in batch.events:
            self._note(event)
        count = len(batch.frames)
        if self._pipeline is None and count == 0:
            self._before += batch.events
            return
        pipeline = self._opened()
        if count == 0:
            pipeline.push(batch.frames, batch.events)
        for index in range(count):
            # What lies behind the last report belongs to it.
            here = [
                replace(event, before_frame=event.before_frame - index)
                for event in batch.events
                if event.before_frame == index or (index + 1 == count and event.before_frame > index)
            ]
            yield {"run": self._name} | live_row(pipeline, pipeline.push(batch.frames[index : index + 1], here))
        pipeline.forget_settled()

    def _opened(self) -> Pipeline:
        if self._pipeline is None:
            if self._rig is None:
                raise DamagedFileError(
                    f"the rig recorded in run {self._name} cannot be read: no figure rests on anything"
                )
            held = catch_held(self._rig, self._cards)
            self._pipeline = Pipeline(self._rig, held.pair if held else None)
            empty = np.empty(0, dtype=FRAME_DTYPE)
            self._pipeline.push(empty, [replace(event, before_frame=0) for event in self._before])
        return self._pipeline

    def _note(self, event: Event) -> None:
        match event.kind:
            case "header":
                check_schema(event.detail, f"run {self._name}")
            case "rig" if self._pipeline is None:
                self._rig = rig_from_toml(str(event.detail.get("toml", "")), where=f"the rig in run {self._name}")
            case "calibration" if self._pipeline is None and self._rig is not None:
                self._cards += cards_of_run([event.detail])
                self._rig = apply_cards(self._rig, self._cards)
            case "trailer":
                self.ended = True
