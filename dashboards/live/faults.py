"""The fault that the screen shows, in texts. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from host.documents.document import quantity
from host.pipeline.faults.causes import CAUSES

NOTHING: dict[str, Any] = {
    "fault": "",
    "fault_check": "",
    "fault_tell": "",
    "fault_ground": "",
    "fault_more": "",
    "fault_number": 0,
    "fault_urgent": False,
    "fault_stops": False,
    "fault_blinds": False,
}
_DOSED = {"under": "under-applied", "over": "over-applied"}


def fault_texts(faults: Sequence[Mapping[str, Any]], system: str) -> dict[str, Any]:
    """Texts for the newest of the `faults` under way (as Fault.row gives them), an urgent one before any other."""
    if not faults:
        return dict(NOTHING)
    shown = max(faults, key=lambda fault: (fault["urgent"], fault["number"]))
    words = str(shown["words"]) + (", against the catch test" if shown.get("against") == "catch test" else "")
    dosed = _DOSED.get(str(shown["dosed"]))
    area = quantity(shown["area_m2"], "area", system)
    return {
        "fault": words[:1].upper() + words[1:],
        "fault_check": f"Check first: {shown['check_first'][0]}.",
        "fault_tell": f"To tell them apart: {shown['tell'][:1].upper()}{shown['tell'][1:]}."
        if shown["or_else"]
        else "",
        "fault_ground": f"{area.text} {dosed} since then." if dosed and area.value and not area.reads_zero else "",
        "fault_more": f"{len(faults) - 1} more" if len(faults) > 1 else "",
        "fault_number": shown["number"],
        "fault_urgent": bool(shown["urgent"]),
        "fault_stops": any(map(_stops, faults)),
        "fault_blinds": any(map(_blinds, faults)),
    }


def _stops(fault: Mapping[str, Any]) -> bool:
    """Whether it is of the boom or of what feeds it, or may be: the ground gets the wrong amount while it goes on."""
    return bool(fault["urgent"]) and any(CAUSES[kind].dosed in _DOSED for kind in (fault["kind"], *fault["or_else"]))


def _blinds(fault: Mapping[str, Any]) -> bool:
    """Whether meter or wheel count wrong: nobody is to walk by the rate."""
    return bool(fault["urgent"]) and fault["dosed"] == "unknown"
