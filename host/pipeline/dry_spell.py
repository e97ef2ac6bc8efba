"""Walked with the spray switched on and without water: told apart once it has lasted for longer than a turn, back to
where it began."""

from __future__ import annotations

import math

import numpy as np

from host.pipeline.columns import Bools
from host.pipeline.rows import Rows, Why

_GONE = 0.3  # of the pressure in the last pass: the water is gone, and not only the meter's pulses


class DrySpell:
    """Marks the rows of a dry spell with the reason why they belong to no known ground.

    Rows come in order; however they are cut up, the same ones are marked.
    """

    def __init__(self) -> None:
        self._usual_pa, self._why = math.nan, Why.ASSIGNED

    def after(self, pressure_pa: float) -> None:
        """A pass was sprayed, at this mean pressure (NaN without a transducer)."""
        self._why = Why.ASSIGNED
        self._usual_pa = pressure_pa if math.isfinite(pressure_pa) else self._usual_pa

    def begins(self, rows: Rows) -> None:
        """It shows that no water comes any more: these are the rows since the last, some of them with the spray on."""
        self._why = self._reason(rows[waits(rows)])

    def in_idle(self, rows: Rows) -> Rows:
        """`rows` in which nothing was sprayed, marked."""
        dry = dry_for_long(rows)
        if not dry.any():
            return rows
        self._why = self._reason(rows[dry][:1])
        return _marked(rows, dry, self._why)

    def in_stretch(self, rows: Rows) -> Rows:
        """`rows` in which the spray was on, marked where no water came before it was shut again."""
        dry = dry_for_long(rows)
        return rows if not dry.any() or rows["timed"].any() else _marked(rows, dry, self._reason(rows[dry]))

    def _reason(self, rows: Rows) -> Why:
        """Of dry rows: by their pressure, of which one may be a mean with what was before the spray came on."""
        if self._why is not Why.ASSIGNED:
            return self._why
        known = rows["pressure_pa"][np.isfinite(rows["pressure_pa"])]
        gone = len(known) > 0 and float(np.median(known)) < _GONE * self._usual_pa  # false where that is not known
        return Why.NO_WATER if gone else Why.NOT_METERED


def _marked(rows: Rows, dry: Bools, why: Why) -> Rows:
    """`rows` with `why` where they are dry: where somebody walked, or water may have gone down all the same."""
    dry = dry & (rows["moving"] | (why is Why.NOT_METERED)) & (rows["why"] == Why.ASSIGNED)
    if not dry.any():
        return rows
    rows = rows.copy()
    rows["why"][dry] = np.where(rows["dry_neither"][dry], Why.NEITHER, why)
    return rows


def dry_for_long(rows: Rows) -> Bools:
    """Where the spray has been on without water for longer than in a turn."""
    long: Bools = rows["dry_long"] | rows["dry_neither"]
    return long


def waits(rows: Rows) -> Bools:
    """Where idle rows wait for water with the switch on: it has stopped, or has only just."""
    on: Bools = rows["dry"] | rows["spraying"]
    return on
