"""What an export says of itself: which run of which rig, under which calibrations, and what happened in it."""

from __future__ import annotations

from dataclasses import asdict
from importlib.metadata import version
from typing import Any

from host.review.columns import TOTAL_COLUMNS
from host.review.review import Review
from host.review.rows import event_rows, fault_rows, pass_rows, plain, start_utc

ABOUT_FORMAT = 1  # grows when a key changes its meaning or goes


def about_run(review: Review) -> dict[str, Any]:
    """Ready for `json.dumps(..., allow_nan=False)`; SI, units in the keys, uncertainties standard (k = 1)."""
    rig, run, health = review.rig, review.run, review.health
    target = rig.target
    identity = next((event.detail for event in run.events if event.kind == "identity"), {})
    about = {
        "format": ABOUT_FORMAT,
        "run": run.path.stem,
        "started_utc": start_utc(review),
        "started": review.started.isoformat() if review.started else None,
        "duration_s": health.duration_s,
        "complete": health.complete,
        "status": health.status,
        "rig": {"name": rig.name, "swath_m": rig.swath_m, "toml": rig.toml},
        "target": {
            "rate_m3_m2": target.rate_m3_m2,
            "low_m3_m2": target.low_m3_m2,
            "high_m3_m2": target.high_m3_m2,
        },
        "calibrations": [
            {"kind": card.kind, "made": card.made.isoformat(), "rig": card.rig_name} for card in review.cards
        ],
        "uncertainty": {
            "meter_relative": rig.meter.relative_uncertainty,
            "pressure_pa": rig.pressure.uncertainty_pa if rig.pressure else None,
            "wheel_relative": rig.wheel.relative_uncertainty if rig.wheel else None,
        },
        "software": {
            "recorded_with": run.header.get("software"),
            "exported_with": f"swardflow {version('swardflow')}",
            "run_file": run.header.get("schema"),
            "protocol": run.header.get("protocol"),
            "firmware": identity.get("firmware"),
            "board": identity.get("name"),
        },
        "notes": review.notes,
        "totals": {name: getattr(review.totals, name) for name in TOTAL_COLUMNS},
        "passes": pass_rows(review),
        "faults": fault_rows(review),
        "events": event_rows(review),
        "not_assigned": [asdict(one) for one in review.unassigned],
    }
    return {key: plain(value) for key, value in about.items()}
