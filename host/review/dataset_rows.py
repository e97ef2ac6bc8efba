"""What a dataset holds of one run: a row in `runs`, and rows in `passes`, `faults` and `events`."""

from __future__ import annotations

import json
from typing import Any

from host.review.digest import digest_of
from host.review.fields import EVENT_FIELDS, FAULT_FIELDS, KEY_FIELDS, PASS_FIELDS, RUN_FIELDS, Field
from host.review.review import Review
from host.review.rows import Row, event_rows, fault_rows, pass_rows, plain, start_utc

DATASET_FORMAT = 2  # grows when a column changes its meaning or goes; 1 had folders by rig and year

TABLES: dict[str, tuple[Field, ...]] = {
    "passes": (*KEY_FIELDS, *PASS_FIELDS),
    "faults": (*KEY_FIELDS, *FAULT_FIELDS),
    "events": (*KEY_FIELDS, *EVENT_FIELDS),
    "runs": RUN_FIELDS,  # last: a run is in the dataset when its row is here
}
PRIMARY_KEYS = {"runs": ("run_id",), "passes": ("run_id", "pass"), "faults": ("run_id", "fault"), "events": ()}


def dataset_rows(review: Review) -> dict[str, list[Row]]:
    """Rows of each table of TABLES; what only the folder knows (source, file, bytes, stamp) is left to the caller."""
    digest = digest_of(review)
    key: Row = {
        "run_id": digest.identity,
        "run": review.run.path.stem,
        "rig": digest.rig,
        "site": digest.site,
        "product": digest.product,
        "started_utc": start_utc(review),
    }
    steady, ground = digest.steady, digest.verdict
    one: Row = {
        **key,
        "started": digest.started,
        "on_target": ground and ground.on,
        "over_target": ground and ground.over,
        "under_target": ground and ground.under,
        "not_known": ground and ground.unknown,
        "notes": _as_json(digest.notes),
        "calibrations": _as_json([{"kind": card.kind, "made": card.made.isoformat()} for card in review.cards]),
        "coefficient_m3_s_pa05": steady and steady.coefficient,
        "coefficient_scatter": steady and steady.scatter,
        "steady_pressure_pa": steady and steady.pressure_pa,
    }
    for field in RUN_FIELDS:
        if field.name not in one and field.name not in OF_THE_FOLDER:
            one[field.name] = getattr(digest if hasattr(digest, field.name) else review.totals, field.name)
    return {
        "passes": [key | row for row in pass_rows(review)],
        "faults": [key | row for row in fault_rows(review)],
        "events": [key | row for row in event_rows(review)],
        "runs": [one],
    }


OF_THE_FOLDER = ("source", "file", "bytes", "stamp")


def _as_json(value: Any) -> str:
    return json.dumps(plain(value), ensure_ascii=False, sort_keys=True)
