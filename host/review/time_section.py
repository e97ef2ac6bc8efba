"""Rate, flow, pressure and speed of a run over one time axis, with what happened as marks."""

from __future__ import annotations

import numpy as np

from host.documents.document import Message, Messages, Plot, Section, Series
from host.events import WORK_PAUSED, as_meant
from host.pipeline.columns import Floats
from host.review.review import Review
from host.units import UNITS, to_user

TIME = "time"
_MOST_BINS = 300  # as many as a phone has room for
_LEAST_BIN_S = 1.0
_SHOWN = {"refill": "refill", "mark": "◆", "link_lost": "lost", WORK_PAUSED: "pause"}
_PEAK = 2.0  # times the target: a higher rate is cut off, or nothing else could be read


def time_section(review: Review, system: str) -> Section:
    """The plots; without anything for people when the run has no rows."""
    track = review.track
    if len(track) < 2:
        return Section(TIME, "")
    begin, end = float(track.host_s[0]), float(track.host_s[-1])
    if not end > begin:
        return Section(TIME, "")
    count = max(min(_MOST_BINS, int((end - begin) / _LEAST_BIN_S)), 1)
    edges = np.linspace(begin, end, count + 1)
    step_s = np.diff(track.host_s, prepend=begin)
    at = np.clip(np.searchsorted(edges, track.host_s, side="right") - 1, 0, count - 1)

    def summed(values: Floats) -> Floats:
        return np.bincount(at, weights=np.nan_to_num(values), minlength=count).astype(float)

    spraying = track.spraying & (step_s > 0)
    spraying_s, whole_s = summed(np.where(spraying, step_s, 0.0)), summed(step_s)
    metered_s = summed(np.where(spraying & np.isfinite(track.flow_m3_s), step_s, 0.0))
    poured = summed(np.where(spraying, track.flow_m3_s * step_s, 0.0))
    ground = summed(np.where(spraying & track.moving, track.ground_m, 0.0)) * review.rig.swath_m
    onto = summed(np.where(spraying & track.moving & (track.ground_m > 0), track.flow_m3_s * step_s, 0.0))
    way = np.diff(track.distance_m, prepend=track.distance_m[0])
    walked, walked_s = summed(way), summed(np.where(np.isfinite(way), step_s, 0.0))
    pressed_s = summed(np.where(np.isfinite(track.pressure_pa), step_s, 0.0))
    enough = spraying_s > 0.5 * whole_s
    with np.errstate(divide="ignore", invalid="ignore"):
        lines = {
            "rate": np.where(enough & (ground > 0), onto / ground, np.nan),
            "flow": np.where(enough & (metered_s > 0), poured / metered_s, np.nan),
            "pressure": np.where(pressed_s > 0, summed(track.pressure_pa * step_s) / pressed_s, np.nan),
            "speed": np.where(walked_s > 0, walked / walked_s, np.nan) if review.rig.wheel else np.full(count, np.nan),
        }
    minutes = (edges[:-1] + np.diff(edges) / 2) / 60.0
    marks = _marks(review)
    plots = [
        _plot(review, kind, minutes, values, marks if number == 0 else _unnamed(marks), system)
        for number, (kind, values) in enumerate(lines.items())
        if np.isfinite(values).any()
    ]
    poured_over = [kind for kind in ("rate", "flow") if np.isfinite(lines[kind]).any()]
    band = "; the shaded band is the target" if "rate" in poured_over else ""
    where = f"{' and '.join(poured_over).capitalize()} where it was sprayed{band}. " if poured_over else ""
    said = Message(f"{where}Signs are those of the picture.")
    return Section(TIME, "Over the run", (Messages((said,), ""), *plots))


def _plot(
    review: Review,
    kind: str,
    minutes: Floats,
    values_si: Floats,
    marks: tuple[tuple[float, str], ...],
    system: str,
) -> Plot:
    target = review.rig.target
    shown = [float(to_user(value, kind, system)) for value in values_si.tolist()]
    band = None
    top = max((value for value in shown if np.isfinite(value)), default=1.0)
    if kind == "rate":
        band = (float(to_user(target.low_m3_m2, kind, system)), float(to_user(target.high_m3_m2, kind, system)))
        top = max(min(top, _PEAK * band[1]), 1.2 * band[1])
    return Plot(
        TIME,
        kind.capitalize(),
        "Minutes from the start",
        UNITS[system][kind].symbol,
        (Series(tuple(zip(minutes.tolist(), shown, strict=True))),),
        band=band,
        marks=marks,
        x_range=(0.0, float(minutes[-1]) + 0.01),
        y_range=(0.0, 1.08 * top if top > 0 else 1.0),
    )


def _unnamed(marks: tuple[tuple[float, str], ...]) -> tuple[tuple[float, str], ...]:
    return tuple((minute, "") for minute, _ in marks)


def _marks(review: Review) -> tuple[tuple[float, str], ...]:
    """Signs as in the picture of the ground: a fault's number, ◆ for what somebody marked."""
    found = [(fault.began_s / 60.0, str(fault.number)) for fault in review.faults]
    found += [
        (event.host_s / 60.0, _SHOWN[event.kind]) for event in as_meant(review.run.events) if event.kind in _SHOWN
    ]
    return tuple(sorted(found))
