"""`/metrics`: the newest numbers for a program that collects them, in the open text exposition format, version 0.0.4.

What is not known is absent: no sample has a number that nobody measured, and none is repeated once it is old. Sums stay
for as long as their run is the newest. All are gauges, for a review may take a sum back.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping

from fastapi import Response

from dashboards.live.broadcaster import Broadcaster
from dashboards.live.figures import Figures
from dashboards.live.recorder_client import LIVE
from dashboards.sharing.metrics_key import METRICS
from dashboards.web.page_server import Cost, PageServer

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"

# A key of host.pipeline.live.live_row: the metric's name, what it means. Units are SI and stand at the name's end.
MOMENT = {
    "flow_m3_s": ("flow_cubic_meters_per_second", "Flow through the meter."),
    "pressure_pa": ("pressure_pascals", "Pressure at the boom."),
    "speed_m_s": ("speed_meters_per_second", "Speed on the ground."),
    "rate_m3_m2": ("rate_cubic_meters_per_square_meter", "Rate over the last metres."),
    "spraying": ("spraying", "1 while the boom sprays."),
}
SUMS = {
    "volume_m3": ("volume_cubic_meters", "Volume through the meter in this run."),
    "distance_m": ("distance_meters", "Distance in this run, turns included."),
    "area_m2": ("ground_square_meters", "Known ground that was sprayed in this run."),
    "tank_left_m3": ("tank_left_cubic_meters", "What is left in the tank."),
    "unassigned_m3": ("not_assigned_cubic_meters", "Volume that belongs to no known ground."),
    "target_m3_m2": ("target_rate_cubic_meters_per_square_meter", "The rate that is wanted."),
}


def exposition(figures: Figures, age_s: float | None) -> str:
    """The answer. `age_s` is the age of the newest report; None when there is none."""
    return "".join(f"{line}\n" for line in _lines(figures, age_s))


def _lines(figures: Figures, age_s: float | None) -> Iterator[str]:
    live = figures.recording in LIVE
    if live or figures.recording in ("none", "ended"):
        yield from _metric("recording", "1 while a run is recorded.", {"": int(live)})
    if live:
        yield from _metric("saving", "0 while the disk takes nothing.", {"": int(figures.recording == "on")})
    if not figures.run:
        return
    label = f'run="{_escaped(figures.run)}"'
    fresh = live and age_s is not None and 1000 * age_s <= figures.stale_ms
    if age_s is not None:
        yield from _metric("report_age_seconds", "Since the newest report was read.", {label: round(age_s, 3)})
    for key, (name, words) in {**(MOMENT if fresh else {}), **SUMS}.items():
        if (value := figures.row.get(key)) is not None:
            yield from _metric(name, words, {label: float(value)})
    if fresh:
        causes = Counter(str(fault["kind"]) for fault in figures.row.get("faults", ()))
        found = {f'{label},cause="{_escaped(cause)}"': count for cause, count in causes.items()}
        yield from _metric("faults", "Faults under way, by cause.", found or {label: 0})


def _metric(name: str, words: str, samples: Mapping[str, float]) -> Iterator[str]:
    yield f"# HELP swardflow_{name} {words}"
    yield f"# TYPE swardflow_{name} gauge"
    for labels, value in samples.items():
        yield f"swardflow_{name}{{{labels}}} {value!r}" if labels else f"swardflow_{name} {value!r}"


def _escaped(text: str) -> str:
    """A label's value: backslash, quote and line feed are escaped."""
    return re.sub(r'[\\"\n]', lambda found: {"\n": r"\n"}.get(found[0], "\\" + found[0]), text)


def add_metrics(server: PageServer, newest: Broadcaster) -> None:
    """Answer on METRICS."""

    async def metrics() -> Response:
        text = exposition(*newest.figures())
        return Response(text, headers={"content-type": CONTENT_TYPE, "cache-control": "no-store"})

    server.declare("GET", METRICS, metrics, Cost.QUICK, changes=False)
