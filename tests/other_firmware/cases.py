"""What befalls walker, board and cable: each case a walk of its own, with the rig file that its keeper would write."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from . import line, wire
from .board import Already, Board, Build, Restart, played
from .boom import Boom, Walk, World, walked
from .filters import REST
from .rig import rig_file
from .run_file import write_run

Pieces = Iterator[tuple[float, bytes]]


def _as_it_left(pieces: Pieces, _world: World) -> Pieces:
    return pieces


@dataclass(frozen=True)
class Case:
    """`mishaps` gives the rest of the board's arguments, `route` what the cable does; both know how the walk went."""

    boom: Boom = field(default_factory=Boom)
    walk: Walk = field(default_factory=Walk)
    build: Build = field(default_factory=Build)
    mishaps: Callable[[World], dict[str, Any]] = lambda world: {}
    route: Callable[[Pieces, World], Pieces] = _as_it_left
    rig: dict[str, bool] = field(default_factory=dict)

    def written(self, path: Path, seed: int) -> World:
        """Write the run file that a recorder would have written, and give the truth."""
        world = walked(self.boom, self.walk, seed)
        build = replace(self.build, drift=self.build.drift * (-1) ** seed)
        board = Board(build, world, **self.mishaps(world))
        came = self.route(line.late(played(board, world.lasts), seed), world)
        write_run(path, came, rig_file(self.boom, **self.rig), world.lasts)
        return world


def _middle(world: World) -> float:
    one = world.passes[1]
    return (one.begins + one.ends) / 2


def _silent(begins: Callable[[World], float], ends: Callable[[World], float]) -> Case:
    return Case(route=lambda pieces, world: line.silent(pieces, begins(world), ends(world)))


def _every(interval_ms: int, **more: Any) -> Case:
    return Case(mishaps=lambda world: {"interval_ms": interval_ms}, build=Build(room=256), **more)


def _lost_in_each_pass(pieces: Pieces, world: World) -> Pieces:
    return line.lost(pieces, [moment for one in world.passes for moment in (one.begins - 0.9, one.begins + 9.0)])


def _restart(down: float, **build: Any) -> Case:
    return Case(build=Build(**build), mishaps=lambda world: {"restarts": (Restart(_middle(world), down),)})


def _held(**build: Any) -> Case:
    return Case(build=Build(**build), mishaps=lambda world: {"held": ((_middle(world), _middle(world) + 0.7),)})


def _cut_report(world: World) -> dict[str, Any]:
    """A reset 4 ms into a report."""
    interval = 0.1 / (1 + Build().drift)
    return {"restarts": (Restart(round(_middle(world) / interval) * interval + 0.004, 4.0),)}


ALL = wire.FLOW | wire.WHEEL | wire.PRESSURE | wire.SWITCH

CASES = {
    "all is well": Case(),
    "a reed, filtered": Case(Boom(reed=True), build=Build(wheel_filter=(REST, 8000))),
    "a reed that is not filtered": Case(Boom(reed=True)),
    "a reed on wire 1.0": Case(Boom(reed=True), build=Build(protocol="1.0")),
    "reports every 20 ms": _every(20),
    "reports every 500 ms": _every(500),
    "reports every 1000 ms": _every(1000),
    "reports every 1000 ms, one lost at each start and in each pass": _every(1000, route=_lost_in_each_pass),
    "no switch": Case(build=Build(fitted=ALL - wire.SWITCH), rig={"switch": False}),
    "no switch, 11 Hz": Case(Boom(pulses_per_l=250.0), build=Build(fitted=ALL - wire.SWITCH), rig={"switch": False}),
    "no switch, every 1000 ms": _every(1000, rig={"switch": False}),
    "silent in the middle of a pass": _silent(lambda w: _middle(w) - 4, lambda w: _middle(w) + 4),
    "silent over a turn": _silent(lambda w: w.passes[1].ends - 6, lambda w: w.passes[2].begins + 6),
    "silent over a start": _silent(lambda w: w.passes[1].begins - 3, lambda w: w.passes[1].begins + 4),
    "silent over an end": _silent(lambda w: w.passes[1].ends - 4, lambda w: w.passes[1].ends + 2),
    "restart": _restart(0.5),
    "restart, 4 s down": _restart(4.0),
    "restart that keeps its counts": _restart(0.5, keeps="counts"),
    "restart inside a report, 4 s down": Case(mishaps=_cut_report),
    "restart inside a report that is sent once more": Case(build=Build(keeps="report"), mishaps=_cut_report),
    "three restarts": Case(
        mishaps=lambda w: {"restarts": tuple(Restart(_middle(w) + after, 0.5) for after in (0.0, 6.0, 36.0))}
    ),
    "switch late by 1 s": Case(Boom(switch_lead_s=-1.0)),
    "switch early by 0.5 s": Case(Boom(switch_lead_s=0.5)),
    "switch released 0.8 s late": Case(Boom(switch_release_s=0.8)),
    "dropped pulses": _held(),
    "dropped pulses, wire 1.0": _held(protocol="1.0"),
    "line stalled": Case(mishaps=lambda w: {"stalls": ((_middle(w), _middle(w) + 1.5),)}),
    "wire 1.0": Case(build=Build(protocol="1.0")),
    "no identity": Case(build=Build(tells_identity=False)),
    "counts, clock and numbers wrap": Case(
        mishaps=lambda w: {"already": Already(2**32 - 60_000_000, 2**32 - 2000, 2**32 - 100, 65_500)}
    ),
    "lines damaged": Case(route=lambda pieces, w: line.damaged(pieces, 0.05, 1)),
    "lines doubled": Case(route=lambda pieces, w: line.doubled(pieces, 0.2, 1)),
    "board without the rig's switch": Case(build=Build(fitted=ALL - wire.SWITCH)),
    "board without the rig's transducer": Case(build=Build(fitted=ALL - wire.PRESSURE)),
    "says another interval than it keeps": Case(
        build=Build(says_interval_ms=100), mishaps=lambda w: {"interval_ms": 250}
    ),
    "stands still for 5 s": Case(walk=Walk(stand=(1, 10.0, 5.0))),
}
