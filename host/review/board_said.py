"""What a board says of its own failures, as messages: pulses dropped and refused, lines that it could not send."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from statistics import median

import numpy as np
import numpy.typing as npt

from host.documents.document import duration
from host.documents.words import percent, plural
from host.frames import Event, Frames, counter_difference
from host.journal import RunFile
from host.pipeline import Pass, Refused
from host.pipeline.pressure import believable

_AS_GOOD_AS_ALL = 0.95
LEAST_STEPS, _INTERVAL_OFF = 20, 0.2
_IN_TURN = 3  # times that a start number comes back: once may be a line that was sent late
_DRY_S = 0.9  # with the switch on for so long without water, spraying has ended by the flow


def dropped_message(dropped: int, put_back: Mapping[str, int]) -> str:
    """That the board failed to count so many pulses; `put_back` are those of which it has said the input."""
    known = {name: number for name, number in put_back.items() if number}
    if sum(known.values()) == dropped:
        what = " and ".join(plural(number, f"{name} pulse") for name, number in known.items())
        return f"The board dropped {what}. They are in the totals; the ground sprayed meanwhile is not assigned."
    what = plural(dropped, "pulse")
    return f"The board dropped {what}, of flow or of wheel: what was sprayed meanwhile is not assigned."


def unsent_message(unsent: int) -> str:
    """That the board could not send so many lines."""
    lines = plural(unsent, "line")
    return f"The board could not send {lines}: the line to the computer was blocked. The counts lost nothing."


def refused_message(found: Refused, *, called: bool = False) -> str:
    """That an input refuses what may be pulses, how many of how many, and what to do; what a fault says left out."""
    much = _share_words(found)
    if found.too_fast and called:
        return f"{much}; the filter is {found.filter_us / 1000:g} ms."
    if found.too_fast:
        return (
            f"{much}: too fast for its filter of {found.filter_us / 1000:g} ms, so too little is counted. Is the "
            f"{_SENSOR[found.name]}'s kind of sensor right on the page Rig?"
        )
    return f"{much} as noise: keep the {_SENSOR[found.name]}'s wire away from pump and battery leads."


def refused_messages(windows: Iterable[Refused]) -> list[str]:
    """The same for a run: once for each input, with the time that it was so in all."""
    said = []
    for name in _SENSOR:
        of_input = [found for found in windows if found.name == name]
        if of_input:
            worst = max(of_input, key=lambda found: found.refused)
            seconds = sum(found.end_s - found.start_s for found in of_input)
            said.append(f"For {duration(seconds).text}: {refused_message(worst)}")
    return said


def interval_message(stated_ms: float, steps_ms: Sequence[float] | npt.NDArray[np.float64]) -> str:
    """That reports come at another interval than the board says; empty otherwise, or when too few have come.

    `steps_ms` are times between reports of which none was lost, on the board's clock, shape (n,).
    """
    if len(steps_ms) < LEAST_STEPS or not stated_ms:
        return ""
    come = float(np.median(steps_ms))
    if abs(come / stated_ms - 1.0) <= _INTERVAL_OFF:
        return ""
    return (
        f"The board says that it reports every {stated_ms:.0f} ms, and reports come every {come:.0f} ms: "
        "volume and ground go by what came."
    )


def interval_message_of_run(run: RunFile) -> str:
    """The same of the first identity line of a run that its reports do not keep to."""
    frames, said = run.frames, [event for event in run.events if event.kind == "identity"]
    for place, identity in enumerate(said):
        end = said[place + 1].before_frame if place + 1 < len(said) else len(frames)
        here = frames[identity.before_frame : end]
        seq = here["seq"].astype(np.int64)
        after = ((seq[1:] - seq[:-1]) % 2**16 == 1) & (here["boot"][1:] == here["boot"][:-1])
        steps_ms = counter_difference(here["clock"][1:], here["clock"][:-1])[after] / 1000.0
        if said_so := interval_message(float(identity.detail.get("interval_ms") or 0), steps_ms):
            return said_so
    return ""


def pressure_message(frames: Frames) -> str:
    """That pressures contradict themselves, and are left out; empty where none does."""
    wrong = int((~believable(frames)).sum())
    if not wrong:
        return ""
    return (
        f"In {wrong:,} of {plural(len(frames), 'report')} the mean pressure is not between the least and the greatest "
        "of the same report: those are not used. Something is wrong with the board's program."
    )


def two_boards(frames: Frames) -> int:
    """How often one board takes over from another, where two speak in turn; 0 where there is one, however often it
    starts.

    A board adds one to its number at each start (PROTOCOL.md section 5), so an old number does not come back.
    """
    boots = frames["boot"]
    starts = boots[np.flatnonzero(boots[1:] != boots[:-1]) + 1]
    return len(starts) if int((starts[2:] == starts[:-2]).sum()) >= _IN_TURN else 0


def boards_message(frames: Frames) -> str:
    """That two boards speak in turn; empty where there is one."""
    changes = two_boards(frames)
    if not changes:
        return ""
    return (
        f"Reports of two boards are mixed here, with {changes:,} changes from one to the other: do not trust "
        "what this run counts. Leave only one board connected."
    )


class WhichBoard:
    """Remembers which board speaks: by its serial number, and by its name where it has none (PROTOCOL.md section 5)."""

    def __init__(self) -> None:
        self._name: object = None
        self._serial = 0

    def is_another(self, event: Event) -> bool:
        """Whether this event is the first word of another board than the one before."""
        if event.kind == "identity":
            name, before = event.detail.get("name"), self._name
            self._name = name
            if before in (None, name):
                return False
            self._serial = 0
            return True
        if event.kind != "hardware" or not (serial := int(event.detail.get("serial") or 0)):
            return False
        before, self._serial = self._serial, serial
        return before not in (0, serial)


def other_boards_s(events: Iterable[Event]) -> list[float]:
    """When another board than the one before was first heard (seconds of the run)."""
    which = WhichBoard()
    return [event.host_s for event in events if which.is_another(event)]


SWITCH_BACKWARDS = (
    "The spray switch reads the wrong way round: all water came with it off, and none with it on. Put its wire on its "
    "other contact."
)
OTHER_BOARD_WORDS = "another board was plugged in"
OTHER_BOARD_CHECK = (
    "are its meter, its wheel and its switch those of this rig?",
    "what it counts is taken as if they were",
)
OTHER_BOARD = f"{OTHER_BOARD_WORDS[0].upper()}{OTHER_BOARD_WORDS[1:]}: {OTHER_BOARD_CHECK[0]}"
_SENSOR = {"flow": "flow meter", "wheel": "wheel"}


def switch_message(passes: Sequence[Pass]) -> str:
    """That the switch was on for longer or shorter than the water flowed, and which was believed; empty otherwise.

    It is said of a switch that is so in half of the passes or more. Where the water failed with the switch on, the
    watch over faults says so.
    """
    doubted = [one.switch_short_s for one in passes if one.switch_short_s > -_DRY_S and one.switch_short_s]
    if not doubted or 2 * len(doubted) < len(passes):
        return ""
    by = median(doubted)
    where = f"{len(doubted)} of {len(passes)} {'pass' if len(passes) == 1 else 'passes'}"
    much = f"{abs(by):.1f} s {'less' if by > 0 else 'more'}"
    return (
        f"The spray switch was on for {much} than the water flowed, in {where}: "
        "look at its lever. There the flow says where spraying began and ended."
    )


def _share_words(found: Refused) -> str:
    share = found.share
    if share >= _AS_GOOD_AS_ALL:
        return (
            f"No {found.name} pulse is counted: all are refused"
            if not found.counted
            else (f"{percent(share)} of all {found.name} pulses are refused")
        )
    one_in = round(1 / share)
    if one_in <= 10 and abs(1 / share - one_in) < 0.25:
        words = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 7: "seven", 8: "eight", 9: "nine", 10: "ten"}
        return f"One {found.name} pulse in {words[one_in]} is refused"
    return f"{percent(share)} of all {found.name} pulses are refused"
