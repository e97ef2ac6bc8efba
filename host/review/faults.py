"""What went wrong in a run, as text and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from host.pipeline import Fault
from host.pipeline.faults.causes import CAUSES
from host.units import column_name, format_value, to_user

if TYPE_CHECKING:
    from host.review.review import Review

_DOSED = {"under": ", under-dosed", "over": ", over-dosed"}


def fault_lines(review: Review, system: str) -> list[str]:
    """When, what, for how long, on how much ground, and what to look at first; no line without faults."""
    if not review.faults:
        return []
    lines = ["Faults, as found in reading the run:"]
    for fault in review.faults:
        lasted = "to the end" if fault.ended_s is None else f"for {fault.ended_s - fault.began_s:.0f} s"
        size = f", boom passes {fault.change:+.0%}" if fault.change is not None else ""
        area = format_value(fault.area_m2, "area", system)
        lines += [
            f"  {review.at(fault.began_s)}  {fault.words}{size}; {lasted}, {area} sprayed meanwhile"
            f"{_DOSED.get(fault.dosed, '')}",
            f"            first: {CAUSES[fault.kind].check[0]}",
        ]
    return [*lines, ""]


def fault_json(fault: Fault, review: Review, system: str) -> dict[str, Any]:
    """One fault as a derived event; its area carries its unit."""
    row = fault.row(fault.ended_s if fault.ended_s is not None else review.health.duration_s)
    area = to_user(row.pop("area_m2"), "area", system)
    return row | {"at": review.at(fault.began_s), column_name("area", "area", system): area}
