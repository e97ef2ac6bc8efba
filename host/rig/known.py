"""The sprayers that are known: rig files in the folder `rigs` of a folder of runs, and the examples."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from host.errors import NotFoundError, UserError, suggestion
from host.rig.model import Rig
from host.rig.parse import load_rig
from host.run_folder import rigs_folder

SUFFIX = ".toml"
EXAMPLES = Path(__file__).parent / "examples"


@dataclass(frozen=True)
class KnownRig:
    """A rig file: `name` is what one calls it by; without `rig` it cannot be read, and `trouble` says why."""

    name: str
    path: Path
    rig: Rig | None
    trouble: str = ""


def known_rigs(runs: Path) -> list[KnownRig]:
    """The keeper's own rigs, in the order of their names."""
    return _read(rigs_folder(runs.expanduser()))


def example_rigs() -> list[KnownRig]:
    """The rigs that come along."""
    return _read(EXAMPLES)


def find_rig(text: str, runs: Path) -> Path:
    """The rig file meant by `text`: the name of a known rig or an example, or a path. Raises NotFoundError."""
    known = {each.name: each.path for each in (*example_rigs(), *known_rigs(runs))}
    if text in known:
        return known[text]
    path = Path(text).expanduser()
    if path.suffix == SUFFIX or path.is_file():
        return path  # whether it is there is said by who reads it
    raise NotFoundError(f"there is no rig {text}: {suggestion(text, known)}")


def _read(folder: Path) -> list[KnownRig]:
    return [_known(path) for path in sorted(folder.glob(f"*{SUFFIX}")) if path.is_file()]


def _known(path: Path) -> KnownRig:
    try:
        return KnownRig(path.stem, path, load_rig(path))
    except UserError as error:
        return KnownRig(path.stem, path, None, str(error))
