"""Columns of every table that leaves Swardflow as data: name, type, unit and meaning, in one place.

Exports, the dataset and `host.open_run` take them from here. Numbers are SI with the unit in the name; only a run's
signals can have the units of the rig in place of them.
"""

from __future__ import annotations

from dataclasses import dataclass

from host.pipeline.columns import EXPORTED
from host.review.columns import MEANINGS, SETTLED_COLUMNS
from host.units import UNITS, column_name

SI = "si"

# Kind of host.units -> (what ends a column's name, symbol) in SI.
_SI = {
    "time": ("s", "s"),
    "length": ("m", "m"),
    "area": ("m2", "m²"),
    "volume": ("m3", "m³"),
    "speed": ("m_s", "m/s"),
    "flow": ("m3_s", "m³/s"),
    "pressure": ("pa", "Pa"),
    "rate": ("m3_m2", "m³/m²"),
}


@dataclass(frozen=True)
class Field:
    """A column. `type` is one of the Data Package standard: number, integer, boolean, string, datetime (UTC)."""

    name: str
    type: str
    unit: str  # empty for what has none
    meaning: str


_TYPES = {"spraying": "boolean", "moving": "boolean", "off_target": "boolean"} | dict.fromkeys(
    ("side_of_band", "lost_frames", "board_restarts", "dropped_pulses", "unsent_lines", "pass"), "integer"
)
_TIME = Field("time_utc", "datetime", "", "arrival of the report in UTC; empty where the run does not know its start")


def named(name: str, kind: str, system: str) -> str:
    """Name of a column with its unit; `system` is "us", "metric" or "si"."""
    if not kind:
        return name
    return f"{name}_{_SI[kind][0]}" if system == SI else column_name(name, kind, system)


def symbol(kind: str, system: str) -> str:
    """Symbol of the unit, empty for what has none."""
    if not kind:
        return ""
    return _SI[kind][1] if system == SI else UNITS[system][kind].symbol


def signal_fields(system: str) -> tuple[Field, ...]:
    """The columns of a run's signals, in their order."""
    fields = [_TIME, *(_field(column.name, column.kind, column.meaning, system) for column in EXPORTED.values())]
    for name, kind, total in SETTLED_COLUMNS.values():
        meaning = MEANINGS[total or name]
        if not total:
            fields.append(_field(name, kind, meaning, system))
            continue
        fields.append(_field(name, kind, f"{meaning}: what this row adds", system))
        fields.append(_field(total, kind, f"{meaning}: total so far", system))
    return tuple(fields)


def _field(name: str, kind: str, meaning: str, system: str) -> Field:
    return Field(named(name, kind, system), _TYPES.get(name, "number"), symbol(kind, system), meaning)


PASS_FIELDS = (
    Field("pass", "integer", "", "number of the pass in its run"),
    Field("start_utc", "datetime", "", "begin"),
    Field("end_utc", "datetime", "", "end"),
    Field("start_s", "number", "s", "begin, from the start of the run"),
    Field("end_s", "number", "s", "end, from the start of the run"),
    Field("rate_m3_m2", "number", "m³/m²", "volume over area"),
    Field("rate_u_m3_m2", "number", "m³/m²", "standard uncertainty of the rate (k = 1)"),
    Field("speed_m_s", "number", "m/s", "distance over spraying time"),
    Field("pressure_pa", "number", "Pa", "mean while spraying; empty without a transducer"),
    Field("distance_m", "number", "m", "sprayed distance"),
    Field("area_m2", "number", "m²", "known ground"),
    Field("volume_m3", "number", "m³", "volume on known ground"),
    Field("volume_u_m3", "number", "m³", "standard uncertainty of the volume (k = 1)"),
    Field("spraying_s", "number", "s", "time of spraying"),
    Field("off_target_s", "number", "s", "time off target"),
    Field("off_target_m2", "number", "m²", "ground off target"),
    Field("over_m2", "number", "m²", "ground over the target's band"),
    Field("under_m2", "number", "m²", "ground under the target's band"),
    Field("unknown_m2", "number", "m²", "ground with too little on it to give a rate for"),
    Field("variation", "number", "1", "coefficient of variation of the rate along the pass"),
)

FAULT_FIELDS = (
    Field("fault", "integer", "", "number of the fault in its run"),
    Field("cause", "string", "", "name of the cause, as in FAULTS.md"),
    Field("message", "string", "", "the fault in a few words"),
    Field("or_else", "string", "", "causes that the measurements cannot rule out, with semicolons between them"),
    Field("began_utc", "datetime", "", "begin"),
    Field("called_utc", "datetime", "", "when it was called"),
    Field("ended_utc", "datetime", "", "end; empty if it lasted to the end of the run"),
    Field("began_s", "number", "s", "begin, from the start of the run"),
    Field("called_s", "number", "s", "when it was called, from the start of the run"),
    Field("ended_s", "number", "s", "end, from the start of the run"),
    Field("sure", "number", "1", "0 to 1: that it is this cause and none of the others named"),
    Field("change", "number", "1", "change of the boom's coefficient, relative"),
    Field("change_u", "number", "1", "its standard uncertainty (k = 1)"),
    Field("nozzles", "number", "1", "how many nozzles' worth"),
    Field("nozzles_u", "number", "1", "its standard uncertainty (k = 1)"),
    Field("area_m2", "number", "m²", "ground sprayed while it lasted"),
    Field("dosed", "string", "", "what that ground got: under, over, unknown, or none"),
    Field("urgent", "boolean", "", "whether it was worth a sound"),
)

EVENT_FIELDS = (
    Field("at_utc", "datetime", "", "when"),
    Field("at_s", "number", "s", "when, from the start of the run"),
    Field("kind", "string", "", "what it was, as in RUN_FILE.md: mark, refill, note, link_lost and so on"),
    Field("text", "string", "", "text or reason that goes with it"),
    Field("by", "string", "", "guest who made it, where one did"),
    Field("added_m3", "number", "m³", "volume that a refill added; empty for a full tank"),
    Field("detail", "string", "", "all that the run file holds of it, as JSON"),
)

# Which run a row of the dataset is of. `run_id` joins the tables.
KEY_FIELDS = (
    Field("run_id", "string", "", "the run, whatever its file's folder or its rig is called: the key of the dataset"),
    Field("run", "string", "", "name of the run's file"),
    Field("rig", "string", "", "name of the rig"),
    Field("site", "string", "", "site or area, from the notes"),
    Field("product", "string", "", "product, from the notes"),
    Field("started_utc", "datetime", "", "start of the run; empty where it or its time zone is not known"),
)

RUN_FIELDS = (
    *KEY_FIELDS,
    Field("started", "string", "", "start as the run file has it: ISO 8601 with its time zone"),
    Field("duration_s", "number", "s", "from the first report to the last"),
    Field("complete", "boolean", "", "whether the recording ended in good order and all of it could be read"),
    Field("passes", "integer", "", "number of passes"),
    Field("faults", "integer", "", "number of faults"),
    Field("volume_m3", "number", "m³", "total through the meter"),
    Field("ground_m3", "number", "m³", "volume on known ground"),
    Field("area_m2", "number", "m²", "known ground"),
    Field("hidden_m2", "number", "m²", "ground that was probably sprayed and is not known"),
    Field("dry_m2", "number", "m²", "ground that got nothing although the spray was on"),
    Field("rate_m3_m2", "number", "m³/m²", "volume over area, on known ground"),
    Field("rate_u_m3_m2", "number", "m³/m²", "standard uncertainty of the rate (k = 1)"),
    Field("target_m3_m2", "number", "m³/m²", "target rate"),
    Field("on_target", "number", "1", "share of the sprayed ground inside the target's band"),
    Field("over_target", "number", "1", "share over it"),
    Field("under_target", "number", "1", "share under it, ground that got nothing included"),
    Field("not_known", "number", "1", "share not known, ground that was probably sprayed unseen included"),
    Field("variation", "number", "1", "mean of the passes' coefficients of variation"),
    Field("spraying_s", "number", "s", "time of spraying"),
    Field("off_target_s", "number", "s", "time off target"),
    Field("over_m2", "number", "m²", "ground over the target's band"),
    Field("under_m2", "number", "m²", "ground under the target's band"),
    Field("unknown_m2", "number", "m²", "ground with too little on it to give a rate for"),
    Field("standing_m3", "number", "m³", "volume sprayed standing still"),
    Field("unassigned_m3", "number", "m³", "volume that belongs to no known ground"),
    Field("meter_over_tank", "number", "1", "metered volume over what the tank gave, where a note or refills say it"),
    Field("meter_over_tank_u", "number", "1", "its standard uncertainty (k = 1)"),
    Field("meter_u", "number", "1", "relative standard uncertainty of the meter (k = 1)"),
    Field("pressure_u_pa", "number", "Pa", "standard uncertainty of the pressure (k = 1)"),
    Field(
        "coefficient_m3_s_pa05", "number", "m³/s/Pa^0.5", "orifice coefficient of the whole boom, Q/√P, steady parts"
    ),
    Field("coefficient_scatter", "number", "1", "relative standard deviation of it from pass to pass"),
    Field("steady_pressure_pa", "number", "Pa", "mean pressure of the steady parts"),
    Field("calibrations", "string", "", "kind and date of each calibration it was read under, as JSON"),
    Field("notes", "string", "", "all notes, as JSON"),
    Field("remark", "string", "", "what could not be read of it"),
    Field("source", "string", "", "which folder of runs it came from, as a code"),
    Field("file", "string", "", "its path in that folder"),
    Field("bytes", "integer", "", "size of the run file"),
    Field("stamp", "string", "", "changes with the run file, its notes, and what it is read under"),
)
