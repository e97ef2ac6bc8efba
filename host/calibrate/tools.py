"""The jug, gauge and tape of the last calibration, as they were typed: asked about once, then offered."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from host.calibrate.cards import slug
from host.calibrate.kinds.kind import Kind
from host.errors import NotSavedError, reason_of
from host.whole_file import write_whole

_NAME = "tools.json"
_MOST = 200  # letters of an entry


def last_tools(folder: Path, rig_name: str) -> dict[str, str]:
    """Entries by the names of their fields, empty where one was left blank; nothing where none can be read."""
    try:
        tree = json.loads((folder / slug(rig_name) / _NAME).read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    if not isinstance(tree, dict):
        return {}
    return {name: text for name, text in tree.items() if isinstance(text, str) and len(text) <= _MOST}


def keep_tools(folder: Path, rig_name: str, kind: Kind, typed: Mapping[str, str | None]) -> None:
    """Keep what was typed of the tools of a kind beside the rig's cards. Raises UserError when it cannot be written."""
    of_tools = {field.name: (typed.get(field.name) or "").strip() for field in kind.settings if field.of_tool}
    known = last_tools(folder, rig_name)
    if not of_tools or known | of_tools == known:
        return
    path = folder / slug(rig_name) / _NAME
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, json.dumps(known | of_tools, indent=1).encode())
    except OSError as error:
        raise NotSavedError(f"your tools cannot be kept in {path.parent}: {reason_of(error)}.") from None
