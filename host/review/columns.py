"""Signals, passes and totals as columns for people and machines: names without the unit, and the kind of quantity."""

from __future__ import annotations

from typing import Any, cast

from host.documents.document import Value, duration, quantity

# Field of Settled -> (name of what the row adds, kind, name of the running total). Summed by pass, the rows give the
# review's passes.
SETTLED_COLUMNS: dict[str, tuple[str, str, str]] = {
    "pass_number": ("pass", "", ""),
    "ground_s": ("row_spraying_time", "time", "spraying_time"),
    "ground_m": ("row_sprayed_distance", "length", "sprayed_distance"),
    "ground_m2": ("row_area", "area", "area"),
    "ground_m3": ("row_volume_on_ground", "volume", "volume_on_ground"),
    "over_m2": ("row_over_target_area", "area", "over_target_area"),
    "under_m2": ("row_under_target_area", "area", "under_target_area"),
    "unknown_m2": ("row_unknown_area", "area", "unknown_area"),
    "off_target_s": ("row_off_target_time", "time", "off_target_time"),
    "stationary_s": ("row_stationary_time", "time", "stationary_time"),
    "stationary_m3": ("row_stationary_volume", "volume", "stationary_volume"),
    "unassigned_s": ("row_unassigned_time", "time", "unassigned_time"),
    "unassigned_m": ("row_unassigned_distance", "length", "unassigned_distance"),
    "unassigned_m3": ("row_unassigned_volume", "volume", "unassigned_volume"),
}

# What they mean in an export.
MEANINGS = {
    "pass": "number of the pass, 0 outside every pass",
    "spraying_time": "time of spraying on known ground",
    "sprayed_distance": "distance sprayed",
    "area": "known ground",
    "volume_on_ground": "volume on known ground",
    "over_target_area": "ground over the target's band",
    "under_target_area": "ground under the target's band",
    "unknown_area": "ground with too little on it to give a rate for",
    "off_target_time": "time off target",
    "stationary_time": "time sprayed standing still",
    "stationary_volume": "volume sprayed standing still",
    "unassigned_time": "time that belongs to no known ground",
    "unassigned_distance": "distance that belongs to no known ground",
    "unassigned_volume": "volume that belongs to no known ground",
}

# Field -> (name, kind, heading in tables for people; empty for what only exports and JSON have), in the order of the
# tables.
PASS_COLUMNS: dict[str, tuple[str, str, str]] = {
    "number": ("pass", "", "Pass"),
    "rate_m3_m2": ("rate", "rate", "Rate ± 95 %"),
    "speed_m_s": ("speed", "speed", "Speed"),
    "pressure_pa": ("pressure", "pressure", "Pressure"),
    "start_s": ("start", "time", ""),
    "end_s": ("end", "time", ""),
    "distance_m": ("distance", "length", "Length"),
    "area_m2": ("area", "area", "Area"),
    "volume_m3": ("volume", "volume", "Volume ± 95 %"),
    "rate_u_m3_m2": ("", "rate", ""),  # stands as the ± of the rate
    "spraying_s": ("spraying_time", "time", ""),
    "off_target_s": ("off_target_time", "time", "Off target"),
    "off_target_m2": ("off_target_area", "area", ""),
    "over_m2": ("over_target_area", "area", ""),
    "under_m2": ("under_target_area", "area", ""),
    "unknown_m2": ("unknown_area", "area", ""),
    "stops_u_m3": ("", "volume", ""),  # part of the ± that a pass states
    "switch_short_s": ("", "time", ""),  # told in a message of the whole run
}

TOTAL_COLUMNS: dict[str, tuple[str, str, str]] = {
    "volume_m3": ("volume", "volume", "Through the meter (± is 95 %)"),
    "volume_u_m3": ("", "volume", ""),
    "ground_m3": ("volume_on_ground", "volume", "On known ground"),
    "ground_u_m3": ("", "volume", ""),
    "area_m2": ("area", "area", "Area of known ground"),
    "area_u_m2": ("", "area", ""),
    "rate_m3_m2": ("rate", "rate", "Rate"),
    "rate_u_m3_m2": ("", "rate", ""),
    "standing_m3": ("stationary_volume", "volume", "Sprayed standing still"),
    "standing_s": ("stationary_time", "time", "Time sprayed standing still"),
    "unassigned_m3": ("unassigned_volume", "volume", "Not assigned to ground"),
    "unassigned_m": ("unassigned_distance", "length", ""),
    "unassigned_s": ("unassigned_time", "time", ""),
    "hidden_m2": ("unassigned_area", "area", ""),
    "uncounted_m3": ("uncounted_volume", "volume", ""),
    "distance_m": ("distance", "length", "Distance, turns included"),
    "spraying_s": ("spraying_time", "time", "Time spraying"),
    "off_target_s": ("off_target_time", "time", "Time off target"),
    "off_target_m2": ("off_target_area", "area", "Known ground off target"),
    "over_m2": ("over_target_area", "area", ""),
    "under_m2": ("under_target_area", "area", ""),
    "unknown_m2": ("unknown_area", "area", ""),
    "dry_m2": ("dry_area", "area", "Ground that got nothing"),
    "tank_left_m3": ("tank_left", "volume", ""),
    "overfilled_m3": ("tank_overfilled", "volume", ""),
}


def cell(value: Any, kind: str, system: str, expanded_si: float | None = None) -> Value:
    """A value of a column as documents show it; `expanded_si` is its ± of 95 %."""
    if not kind:
        return cast(Value, value)
    return duration(value) if kind == "time" else quantity(value, kind, system, expanded_si=expanded_si)
