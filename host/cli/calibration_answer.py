"""The end of every calibration: the card is kept, the answer printed."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from host.calibrate.cards import make_card, save_card
from host.calibrate.drafts import DraftFile
from host.calibrate.uncertainty import Combined
from host.rig import Rig


def finish(
    args: argparse.Namespace,
    rig: Rig,
    content: tuple[Mapping[str, Any], Mapping[str, Any]],
    answer: dict[str, Any],
    lines: list[str],
    draft: DraftFile | None = None,
) -> None:
    """Keep the card, which takes the place of its draft, and print: the answer as JSON, or the lines."""
    section, record = content
    path: Path | None = None
    if not args.no_card:
        card = make_card(args.kind, rig.name, datetime.now().astimezone(), section, record)
        path = save_card(card, args.cards.expanduser())
        if draft is not None:
            draft.drop()
    if args.json:
        remarks = list(record.get("remarks", []))
        print(
            json.dumps(
                {**answer, "remarks": remarks, "card": None if path is None else str(path)}, indent=2, allow_nan=False
            )
        )
        return
    print("\n".join(lines))
    print("No card kept." if path is None else f"Card kept: {path}")


def budget(combined: Combined, per_unit: float, unit: str) -> dict[str, Any]:
    """The uncertainty as JSON, `per_unit` of the shown unit to one of its own."""
    return {
        f"standard_uncertainty_{unit}": per_unit * combined.standard,
        f"expanded_uncertainty_{unit}": per_unit * combined.expanded,
        "coverage_factor": combined.coverage,
        "degrees_of_freedom": combined.degrees if combined.degrees < 1e6 else None,
        f"components_{unit}": {part.name: per_unit * part.standard for part in combined.components},
    }


def budget_text(combined: Combined, per_unit: float, unit: str) -> str:
    """The uncertainty as a line of text."""
    parts = ", ".join(f"{part.name} {per_unit * part.standard:.2g} {unit}" for part in combined.components)
    return (
        f"Uncertainty ±{per_unit * combined.expanded:.2g} {unit} (95 %, k = {combined.coverage:.2f}), "
        f"standard {per_unit * combined.standard:.2g} {unit}: {parts}"
    )
