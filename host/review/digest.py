"""A run in a few numbers: what lists and seasons need, ready to be kept in an index."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from statistics import median
from typing import Any

from host.documents.json import finite
from host.errors import UserError
from host.review.balance import Product
from host.review.card_marks import CardMark, card_marks, no_pressure
from host.review.ground_picture import SmallStrip, small_ground
from host.review.review import Review
from host.review.sound_passes import sound_passes
from host.review.steady import Steady, steady_of
from host.review.transducer_check import error_by_two_pressures, reading_at_rest_pa
from host.review.verdict import Verdict

_FEW_PASSES = 3
SITE_NOTES = ("site", "area")
PRODUCT_NOTE = "product"
DIGEST_FORMAT = 19  # grows with every change of what is worked out: kept digests of another format are made anew


@dataclass(frozen=True)
class ProductDown:
    """A product that a run put down, per area: m³/m², or kg/m² when `dry`. `name` is empty where it was not said."""

    name: str
    dry: bool
    per_area: float


@dataclass(frozen=True)
class Digest:
    """One run; SI units, None where there is nothing to say."""

    identity: str  # of the recording, whatever its file is called
    started: str  # ISO 8601, empty when not known
    rig: str
    units: str
    site: str
    product: str
    complete: bool
    duration_s: float | None
    passes: int
    volume_m3: float | None
    area_m2: float | None
    rate_m3_m2: float | None
    rate_u_m3_m2: float | None
    target_m3_m2: float
    variation: float | None  # mean of the passes' coefficients of variation
    off_target_s: float | None
    spraying_s: float | None
    standing_m3: float | None
    products: tuple[ProductDown, ...]
    over_limit: bool
    verdict: Verdict | None  # by ground; None where none is known
    unassigned_m3: float | None
    meter_over_tank: float | None
    meter_over_tank_u: float | None
    meter_u: float
    pressure_u_pa: float
    calibration: str  # the same text for runs read under the same meter and transducer
    notes: dict[str, str]
    steady: Steady | None
    faults: int | None  # found by the watch over the run; None where it could not look
    remark: str = ""  # notes that could not be read
    fault_kinds: tuple[str, ...] = ()  # their causes, each once
    meter_per_m3: float = 0.0  # pulses per m³ that it was read under; 0 when not known
    no_pressure: tuple[float, float] | None = None  # the transducer's supply fraction at no pressure, Pa per fraction
    pump_off_pa: float | None = None  # what the transducer reads with the pump off
    two_pressures: tuple[float, float] | None = None  # its error (Pa) by passes at two pressures, and the error's u
    pass_pulses: float | None = None  # of the wheel, over the median pass; None without a wheel or three passes
    cards: tuple[CardMark, ...] = ()  # the calibrations that the run recorded
    why_not_known: str = ""  # why nothing is known of what was sprayed
    only_calibrated: bool = False  # all that it sprayed was for calibrations
    ground: tuple[SmallStrip, ...] = ()  # the passes as a small picture shows them

    @property
    def date(self) -> str:
        """Day of the run, ISO 8601."""
        return self.started[:10]


def digest_of(review: Review) -> Digest:
    """Digest of a review. A note that cannot be read costs what hangs on it and is told in `remark`."""
    totals, rig, notes = review.totals, review.rig, review.notes
    variations = [strip.variation for strip in review.strips if math.isfinite(strip.variation)]
    balance = review.balance
    products: tuple[Product, ...] = ()
    unread = [*balance.unread]
    try:
        products = review.products
    except UserError as error:
        unread.append(str(error))
    unread += [product.limit_unread for product in products if product.limit_unread]
    # A run that was clogged throughout is told as one that stands out, so it needs its number.
    passes = sound_passes(review)[0] or review.passes
    steady = steady_of(review.track, passes, rig)
    return Digest(
        identity=review.run.identity,
        started=review.started.isoformat() if review.started else "",
        rig=rig.name,
        units=rig.units,
        site=next((notes[key] for key in SITE_NOTES if notes.get(key)), ""),
        product=notes.get(PRODUCT_NOTE) or ", ".join(product.name for product in products if product.name),
        complete=review.health.complete,
        duration_s=finite(review.health.duration_s),
        passes=len(review.passes),
        volume_m3=finite(totals.volume_m3),
        area_m2=finite(totals.area_m2),
        rate_m3_m2=totals.rate_m3_m2,
        rate_u_m3_m2=totals.rate_u_m3_m2,
        target_m3_m2=rig.target.rate_m3_m2,
        variation=math.fsum(variations) / len(variations) if variations else None,
        off_target_s=finite(totals.off_target_s),
        spraying_s=finite(totals.spraying_s),
        standing_m3=finite(totals.standing_m3),
        products=tuple(ProductDown(product.name, product.dry, product.per_area) for product in products),
        over_limit=any(product.anywhere_over for product in products),
        verdict=review.verdict,
        unassigned_m3=finite(totals.unassigned_m3),
        meter_over_tank=balance.meter_over_tank,
        meter_over_tank_u=balance.meter_over_tank_u,
        meter_u=rig.meter.relative_uncertainty,
        pressure_u_pa=rig.pressure.uncertainty_pa if rig.pressure else 0.0,
        calibration=f"{rig.meter.curve} {rig.pressure}",
        notes=notes,
        steady=steady,
        faults=len(review.faults) if totals.heard else None,
        why_not_known=totals.why_not_known,
        only_calibrated=review.only_calibrated,
        remark="; ".join(message.rstrip(".") for message in unread),
        fault_kinds=tuple(sorted({fault.kind for fault in review.faults})),
        meter_per_m3=float(rig.meter.curve[len(rig.meter.curve) // 2][1]),
        no_pressure=no_pressure(rig.pressure) if rig.pressure else None,
        pump_off_pa=reading_at_rest_pa(review.track, steady.pressure_pa) if steady else None,
        two_pressures=error_by_two_pressures(review.track, passes, rig) if steady else None,
        pass_pulses=_pass_pulses(review),
        cards=card_marks(review.cards),
        ground=small_ground(review),
    )


def _pass_pulses(review: Review) -> float | None:
    """The median pass in pulses of the wheel: passes broken off or interrupted do not move it."""
    lengths = [one.distance_m for one in review.passes]
    if review.rig.wheel is None or len(lengths) < _FEW_PASSES:
        return None
    return median(lengths) / review.rig.wheel.metres_per_pulse


def digest_to_json(digest: Digest) -> dict[str, Any]:
    """For keeping; NaN becomes None."""
    out = asdict(digest)
    if digest.steady is not None:
        out["steady"] = {k: None if isinstance(v, float) and math.isnan(v) else v for k, v in out["steady"].items()}
    return out


def digest_from_json(kept: Mapping[str, Any]) -> Digest:
    """Back from keeping. Raises KeyError or TypeError when it is none."""
    values = {column.name: kept[column.name] for column in fields(Digest)}
    if values["steady"] is not None:
        steady: dict[str, Any] = {k: math.nan if v is None else v for k, v in values["steady"].items()}
        values["steady"] = Steady(**steady)
    values["verdict"] = values["verdict"] and Verdict(**values["verdict"])
    values["fault_kinds"] = tuple(values["fault_kinds"])
    values["no_pressure"] = values["no_pressure"] and tuple(values["no_pressure"])
    values["two_pressures"] = values["two_pressures"] and tuple(values["two_pressures"])
    values["cards"] = tuple(CardMark(**card) for card in values["cards"])
    values["ground"] = tuple(tuple((begin, end, level) for begin, end, level in strip) for strip in values["ground"])
    values["products"] = tuple(ProductDown(**product) for product in values["products"])
    return Digest(**values)
