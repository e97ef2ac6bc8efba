"""A kind of calibration that nobody needs: how long the hose takes to fill. Whatever drives kinds drives it, too."""

from __future__ import annotations

from typing import Any

from host.calibrate.kinds.kind import Field, Guided, Kind, Outcome, Session, Step, Way
from host.documents.document import Column, Document, Fact, Facts, Section, Table, quantity
from host.entries import Entries, above_zero

_LENGTH = Field("hose", "Length of the hose", "12 ft", "4 m")
_TIME = Field("time", "Time of a fill", "4 s")


class HoseSession(Session):
    """Fills, timed one after the other."""

    def __init__(self, job: Any) -> None:
        super().__init__(job)
        self._length_m: float | None = None
        self._times: list[float] = []
        self._started: float | None = None

    def settle(self, entries: Entries) -> None:
        self._length_m = entries.need("hose", above_zero("length", "The hose"), "Enter the length of the hose.")

    def step(self) -> Step:
        if self._started is None:
            return Step("Empty the hose. Start as you open the tap.", "Start")
        return Step("Stop as water comes.", "Stop", figure=f"{self.job.clock() - self._started:.0f}", about="s")

    def press(self, second: bool = False) -> str:
        if self._started is None:
            self._started = self.job.clock()
            return ""
        self._times.append(self.job.clock() - self._started)
        self._started = None
        return f"Fill {len(self._times)} saved."

    def save(self, way: str, entries: Entries) -> str:
        time = entries.need("time", above_zero("time", "The time"), "Enter the time.")
        entries.check()
        assert time is not None
        self._times.append(time)
        return f"Fill {len(self._times)} saved."

    @property
    def can_undo(self) -> bool:
        return bool(self._times)

    def undo(self, number: int | None = None) -> str:
        self._times.pop()
        return "The last fill is dropped."

    def rows(self) -> list[dict[str, Any]]:
        return [{"time_s": time} for time in self._times]

    def restore(self, rows: list[dict[str, Any]]) -> None:
        self._times = [row["time_s"] for row in rows]

    def points(self) -> Table:
        return Table("", (Column("", "Time"),), tuple((f"{time:.1f}",) for time in self._times))

    def check(self) -> None:
        pass

    def outcome(self) -> Outcome:
        assert self._length_m is not None
        speed = self._length_m / (sum(self._times) / len(self._times))
        known = quantity(speed, "speed", self.job.rig.units)
        section = Section("", "", (Facts((Fact("speed", "Water runs at", known),)), self.points()))
        return Outcome(Document("hose", "Hose", f"{known.text} in the hose", (section,)), {}, {"speed_m_s": speed})


KIND = Kind(
    name="hose",
    title="Hose",
    summary="how fast the hose fills",
    ways=(
        Guided("watch", "Stopwatch", board="none"),
        Way(
            "typed",
            "Type in numbers",
            (Field("time", "Time of a fill", "4 s"),),
            "Enter it.",
            option="times",
            each=True,
        ),
    ),
    settings=(_LENGTH,),
    session=HoseSession,
    plus_minus=lambda rig, card: "± 10.0 %" if card else "",
)
