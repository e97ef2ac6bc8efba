"""A reviewed run as rows of data: its passes, faults and events, by the names of `host.review.fields`."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from host.events import EVENT_KEYS, number_of
from host.review.fields import Field
from host.review.review import Review

Row = dict[str, Any]


def start_utc(review: Review) -> datetime | None:
    """Start of the run in UTC; None where it is not known, or its zone is not."""
    started = review.started
    return started.astimezone(UTC) if started is not None and started.tzinfo is not None else None


def moment_utc(review: Review, host_s: float | None) -> datetime | None:
    """A moment of the run in UTC; None where it is not known. Raises nothing for absurd seconds."""
    start = start_utc(review)
    if start is None or host_s is None or not math.isfinite(host_s):
        return None
    try:
        return start + timedelta(seconds=host_s)
    except OverflowError:
        return None


def pass_rows(review: Review) -> list[Row]:
    """One row a pass (PASS_FIELDS)."""
    return [
        {
            "pass": one.number,
            "start_utc": moment_utc(review, one.start_s),
            "end_utc": moment_utc(review, one.end_s),
            **{name: getattr(one, name) for name in _OF_A_PASS},
            "rate_u_m3_m2": review.pass_rate_u_m3_m2(one),
            "volume_u_m3": review.pass_volume_u_m3(one),
            "variation": strip.variation,
        }
        for one, strip in zip(review.passes, review.strips, strict=True)
    ]


_OF_A_PASS = (
    *("start_s", "end_s", "rate_m3_m2", "speed_m_s", "pressure_pa", "distance_m", "area_m2", "volume_m3"),
    *("spraying_s", "off_target_s", "off_target_m2", "over_m2", "under_m2", "unknown_m2"),
)


def fault_rows(review: Review) -> list[Row]:
    """One row a fault (FAULT_FIELDS)."""
    return [
        {
            "fault": fault.number,
            "cause": fault.kind,
            "message": fault.words,
            "or_else": "; ".join(fault.or_else),
            "began_utc": moment_utc(review, fault.began_s),
            "called_utc": moment_utc(review, fault.called_s),
            "ended_utc": moment_utc(review, fault.ended_s),
            **{name: getattr(fault, name) for name in _OF_A_FAULT},
        }
        for fault in review.faults
    ]


_OF_A_FAULT = (
    *("began_s", "called_s", "ended_s", "sure", "change", "change_u", "nozzles", "nozzles_u"),
    *("area_m2", "dosed", "urgent"),
)


def event_rows(review: Review) -> list[Row]:
    """One row an event that RUN_FILE.md names, and one a note (EVENT_FIELDS)."""
    rows = []
    for event in review.run.events:
        if event.kind not in EVENT_KEYS and event.kind != "note":
            continue
        detail = event.detail
        text = f"{detail.get('key', '')}={detail.get('value', '')}" if event.kind == "note" else ""
        rows.append(
            {
                "at_utc": moment_utc(review, event.host_s),
                "at_s": event.host_s,
                "kind": event.kind,
                "text": text or str(detail.get("text") or detail.get("reason") or ""),
                "by": str(detail.get("by") or ""),
                "added_m3": number_of(event, "added_m3") if event.kind == "refill" else None,
                "detail": json.dumps(detail, ensure_ascii=False, sort_keys=True, default=str),
            }
        )
    return rows


def plain(value: Any) -> Any:
    """A value, or rows of them, ready for JSON: moments as ISO 8601, null in place of what is not finite."""
    if isinstance(value, dict):
        return {str(key): plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [plain(inner) for inner in value]
    if isinstance(value, datetime):
        return value.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return None if isinstance(value, float) and not math.isfinite(value) else value


def field_values(rows: Sequence[Row], field: Field) -> list[Any]:
    """The column of a field; None in place of what is not finite."""
    return [None if isinstance(value := row[field.name], float) and not math.isfinite(value) else value for row in rows]
