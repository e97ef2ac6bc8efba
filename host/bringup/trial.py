"""A whole bring-up of a board: heard, listened to, put through its commands, then tried by hand with its sensors."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from firmware_protocol.messages import BAUDS
from host.bringup.board_session import Bench
from host.bringup.by_hand import Known, beep, by_hand
from host.bringup.conformance import Listened, conformance, folded, listen
from host.bringup.findings import Finding
from host.bringup.listening import AT_REST
from host.errors import NoAnswerError, OtherVersionError
from host.rig import PressureSensor, Rig, filter_arguments

_HEARD_S = 5.0


@dataclass(frozen=True)
class Person:
    """Who is at the board: `say` shows a line, `ask` has a question answered, None when nobody is there to."""

    say: Callable[[str], None]
    ask: Callable[[str], bool | None]


def listened_to(bench: Bench, where: str, seconds: float, rig: Rig | None) -> Listened:
    """Wait until lines come, then listen; `where` names the port in messages.

    Raises NoAnswerError when no board is heard, OtherVersionError when one is heard that speaks another protocol.
    """
    _wait_for_lines(bench, where)
    if rig is None:
        listened = listen(bench, seconds)
    else:
        at_rest = AT_REST if rig.pressure is None else _fraction_at_rest(rig.pressure)
        listened = listen(bench, seconds, filter_arguments(rig), at_rest)
    identity = listened.identity
    if identity and identity.protocol.partition(".")[0] != "1":
        raise OtherVersionError(f"the board on {where} speaks protocol {identity.protocol}, which is not known here")
    return listened


def findings_of(
    bench: Bench, listened: Listened, rig: Rig | None, person: Person, wait_s: float, *, hands: bool = True
) -> Iterator[Finding]:
    """Everything that is looked at, in order; without `hands` nothing is asked of the person."""
    identity = listened.identity
    yield from listened.findings
    yield from folded(conformance(bench, identity))
    if identity and hands:
        magnets = rig.wheel.pulses_per_turn if rig and rig.wheel else None
        known = Known(identity.adc_full_scale, listened.rest_hz, magnets)
        yield from by_hand(bench, identity, wait_s, person.say, known, lambda question: bool(person.ask(question)))
        yield from beep(bench, identity, person.ask)


def _fraction_at_rest(sensor: PressureSensor) -> float:
    """Share of its supply that the transducer gives without pressure."""
    slope = (sensor.high_fraction - sensor.low_fraction) / (sensor.high_pa - sensor.low_pa)
    return sensor.low_fraction - sensor.low_pa * slope


def _wait_for_lines(bench: Bench, where: str) -> None:
    """A board that was reset by the opening of the port takes two seconds to come up."""
    came = False
    for baud in BAUDS:
        bench.set_baud(baud)
        end = bench.clock() + _HEARD_S
        while bench.clock() < end:
            for line in bench.hear():
                came = True
                if not line.fault:
                    return
        if not came:
            break
    if came:
        bauds = " or ".join(map(str, BAUDS))
        raise NoAnswerError(
            f"what arrives on {where} cannot be read: set the board to {bauds} baud, or give its own port"
        )
    raise NoAnswerError(f"no board is heard on {where}: check its power, its firmware and the cable")
