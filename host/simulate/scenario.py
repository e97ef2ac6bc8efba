"""Scenario files: what is sprayed with which rig, how, and what goes wrong. SCENARIO.md explains every key."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from host.errors import NotFoundError, suggestion
from host.rig import Rig, load_rig
from host.schema import Place, Quantity, Table, Tables, Text, Whole, key
from host.simulate.disturbances import DISTURBANCE, Disturbance
from host.simulate.settings import (
    BoardSettings,
    GroundSettings,
    LinkSettings,
    MeterSettings,
    PumpSettings,
    RegulatorSettings,
    TransducerSettings,
    WalkSettings,
    WheelSettings,
)
from host.toml_text import read_text, toml_tree

PACKAGED = Path(__file__).with_name("scenarios")
_EXAMPLE_RIGS = Path(__file__).parents[1] / "rig" / "examples"


def section(kind: type[Any]) -> Any:
    """A table that may be left out, with all its keys."""
    return key(Table(kind), default_factory=kind)


@dataclass(frozen=True)
class Scenario:
    """A whole scenario, checked; in the file `rig` is a name, and the list of disturbances is called `disturbance`."""

    rig: Rig = key(
        Text(200, shape="the name of a rig"), "a rig file beside the scenario, or the name of an example rig"
    )
    seed: int = key(Whole(), "whole number from which all randomness comes", default=1)
    title: str = key(Text(200, shape="one line of text"), "one line for --list", default="")
    duration_s: float | None = key(
        Quantity("time", 0.5, 1e6),
        "time after which the run is cut off; default: when the walk is over",
        name="duration",
        default=None,
    )
    walk: WalkSettings = section(WalkSettings)
    pump: PumpSettings = section(PumpSettings)
    regulator: RegulatorSettings = section(RegulatorSettings)
    ground: GroundSettings = section(GroundSettings)
    meter: MeterSettings = section(MeterSettings)
    transducer: TransducerSettings = section(TransducerSettings)
    wheel: WheelSettings = section(WheelSettings)
    board: BoardSettings = section(BoardSettings)
    link: LinkSettings = section(LinkSettings)
    disturbances: tuple[Disturbance, ...] = key(Tables(DISTURBANCE), name="disturbance", default=())


SCENARIO = Table(Scenario)


def packaged_scenarios() -> dict[str, str]:
    """Name and title of each scenario that comes with Swardflow."""
    titles = {}
    for path in sorted(PACKAGED.glob("*.toml")):
        titles[path.stem] = str(tomllib.loads(path.read_text(encoding="utf-8")).get("title", ""))
    return titles


def load_scenario(name: str) -> Scenario:
    """The scenario in the file `name`, or the packaged one of that name.

    Raises UserError naming file and key.
    """
    path = Path(name)
    if path.suffix != ".toml" and not path.exists():
        known = packaged_scenarios()
        if name not in known:
            raise NotFoundError(
                f"there is no scenario '{name}': give the path of a .toml file; {suggestion(name, known)}"
            )
        path = PACKAGED / f"{name}.toml"
    where = f"scenario {path.name}"
    return scenario_from_toml(read_text(path, where), where, path.parent)


def scenario_from_toml(text: str, where: str = "scenario", folder: Path = Path()) -> Scenario:
    """The scenario in `text`; `where` names it in errors, `folder` is where its rig file is looked for.

    Raises UserError naming key and remedy.
    """
    place = Place(where)
    values = SCENARIO.values(toml_tree(text, where, "mend it there"), place)
    return Scenario(**values | {"rig": _rig(values["rig"], place.key("rig"), folder)})


def _rig(name: str, place: Place, folder: Path) -> Rig:
    if name.endswith(".toml"):
        return load_rig(folder / name)
    known = sorted(path.stem for path in _EXAMPLE_RIGS.glob("*.toml"))
    if name not in known:
        raise NotFoundError(
            f'{place} is "{name}", which is no example rig: give a .toml file; {suggestion(name, known)}'
        )
    return load_rig(_EXAMPLE_RIGS / f"{name}.toml")
