"""The fields of each kind, in the groups that a step of it shows (see `Stand.group`), and the ways to a point."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboards.calibrate.boom import BoomSession, nozzle_field
from dashboards.calibrate.counted import MeterSession, PressureSession, WheelSession
from dashboards.calibrate.pace import CourseSession
from dashboards.calibrate.sessions import COUNT, RUN, TANK, TYPED, WATCH, Kind
from dashboards.ui.forms import chips, field
from host.rig import Rig
from host.units import format_value

SETTINGS = "settings"
WAYS = {
    "meter": MeterSession.ways,
    "boom": BoomSession.ways,
    "pressure": PressureSession.ways,
    "wheel": WheelSession.ways,
    "course": CourseSession.ways,
}
# What stands on the fold with the fields that hold for the whole calibration.
_FOLD: dict[Kind, str] = {
    "meter": "Vessel, balance, water",
    "boom": "Speed, vessel, balance, water",
    "pressure": "Gauge: step and accuracy",
}


def form_of(kind: Kind, group: str) -> str:
    """Name of the form that a group of fields makes."""
    return f"calibrate {kind} {group}"


def is_read_anew(entry: str) -> bool:
    """Whether a field holds what the next point will give afresh; the others stay as they were typed."""
    stay = ("distance", "run", "step", "accuracy", "water", "empty", "speed", "gauge_step", "gauge_accuracy")
    return entry not in stay


def ways_of(kind: Kind) -> html.Div:
    """The choice of a way to a point."""
    ways = WAYS[kind]
    return html.Div(
        chips({"way": kind}, "How a point is taken", ways, next(iter(ways))), id={"ways": kind}, className="hidden"
    )


def groups_of(kind: Kind, rig: Rig, runs: list[str]) -> list[html.Div]:
    """All groups of one kind but the settings, each to be shown when its turn comes."""
    return [
        html.Div(fields, id={"group": f"{kind} {name}"}, className="hidden")
        for name, fields in _groups(kind, rig, runs).items()
    ]


def settings_of(kind: Kind, rig: Rig) -> list[html.Details]:
    """The fold with what holds for the whole calibration, where there is any."""
    if kind not in _FOLD:
        return []
    fields = html.Div(_settings(kind, rig), className="fields part")
    return [html.Details([html.Summary(_FOLD[kind]), fields], id={"fold": kind}, className="fold hidden")]


def _groups(kind: Kind, rig: Rig, runs: list[str]) -> dict[str, list[html.Div]]:
    us = rig.units == "us"
    length, jug = ("200 ft", "44 fl oz") if us else ("60 m", "1300 mL")
    gauge = "40 psi" if us else "2.5 bar"
    pressure = format_value(rig.nozzles.reference_pressure_pa, "pressure", rig.units)

    def group(name: str, *entries: tuple[str, str, str]) -> list[html.Div]:
        return [field(form_of(kind, name), *entry) for entry in entries]

    amount, time = ("amount", "Caught: volume or weight", "2.31 L or 5.1 lb"), ("time", "Time, if known", "55 s")
    pulses, course = ("pulses", "Pulses", "1043"), ("distance", "Length of the course", length)
    newest = runs[0] if runs else "latest"
    which = field(form_of(kind, RUN), "run", "Run (empty: the newest)", newest, known=runs)
    marks = (("start", "From: mark or second", "start"), ("end", "To: mark or second", "end"))
    if kind == "meter":
        tank = ("50 gal", "12 gal") if us else ("50 L", "12 L")
        filled, left = ("filled", "Filled", tank[0]), ("left", "Left over", tank[1])
        return {
            COUNT: group(COUNT, amount),
            TYPED: group(TYPED, pulses, amount, time),
            TANK: group(TANK, filled, left, pulses, time),
            RUN: [which, *group(RUN, *marks, amount)],
        }
    if kind == "pressure":
        shown = ("gauge", "Gauge showed", gauge)
        return {COUNT: group(COUNT, shown), TYPED: group(TYPED, shown, ("counts", "Counts", "512.4"))}
    if kind == "wheel":
        return {
            COUNT: group(COUNT, course),
            TYPED: group(TYPED, course, pulses),
            RUN: [which, *group(RUN, *marks, course)],
        }
    if kind == "course":
        return {WATCH: group(WATCH, course), TYPED: group(TYPED, course, ("time", "Time of the pass", "55 s"))}
    nozzles = [(nozzle_field(n), f"Nozzle {n}", jug) for n in range(1, rig.nozzles.count + 1)]
    gauge_or_board = "Gauge at the boom (empty: the board's)"
    return {
        f"{WATCH} pressure": group(f"{WATCH} pressure", ("pressure", gauge_or_board, pressure)),
        f"{WATCH} amount": group(f"{WATCH} amount", ("amount", "Caught: volume or weight", jug)),
        TYPED: group(TYPED, ("pressure", "Pressure", pressure), ("time", "Caught for", "55 s"), *nozzles),
    }


def _settings(kind: Kind, rig: Rig) -> list[html.Div]:
    us = rig.units == "us"

    def entry(name: str, label: str, hint: str) -> Any:
        return field(form_of(kind, SETTINGS), name, label, hint)

    if kind == "pressure":
        return [
            entry("gauge_step", "Smallest step that is read", "1 psi" if us else "0.1 bar"),
            entry("gauge_accuracy", "Gauge may be off by", "1 psi" if us else "0.1 bar"),
        ]
    vessel = [
        entry("step", "Smallest step that is read", "10 mL or 1 g"),
        entry("accuracy", "Scale may be off by", "1 %"),
        entry("water", "When weighed: water's temperature", "68 °F" if us else "20 °C"),
        entry("empty", "When weighed: empty vessel", "0 g: tared"),
    ]
    return vessel if kind == "meter" else [entry("speed", "Spraying speed", "2.5 mph" if us else "4 km/h"), *vessel]
