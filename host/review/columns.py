"""Signals and passes as columns for people and machines: the name without its unit, and the kind of quantity."""

from __future__ import annotations

# Field -> (name, kind of host.units; empty for what has no unit).
SIGNAL_COLUMNS: dict[str, tuple[str, str]] = {
    "host_s": ("host_time", "time"),
    "board_s": ("board_time", "time"),
    "clock_scale": ("clock_scale", ""),
    "flow_m3_s": ("flow", "flow"),
    "volume_m3": ("volume", "volume"),
    "pressure_pa": ("pressure", "pressure"),
    "pressure_min_pa": ("pressure_min", "pressure"),
    "pressure_max_pa": ("pressure_max", "pressure"),
    "speed_m_s": ("speed", "speed"),
    "distance_m": ("distance", "length"),
    "area_m2": ("area", "area"),
    "spraying": ("spraying", ""),
    "moving": ("moving", ""),
    "rate_m3_m2": ("rate", "rate"),
    "rate_u_m3_m2": ("rate_standard_uncertainty", "rate"),
    "pace_wanted_m_s": ("pace_wanted", "speed"),
    "off_target": ("off_target", ""),
    "off_target_s": ("off_target_time", "time"),
    "off_target_m2": ("off_target_area", "area"),
    "standing_s": ("standing_time", "time"),
    "standing_m3": ("standing_volume", "volume"),
    "spraying_s": ("spraying_time", "time"),
    "pass_number": ("pass", ""),
    "in_pass": ("in_pass", ""),
    "tank_left_m3": ("tank_left", "volume"),
    "tank_covers_m2": ("tank_covers", "area"),
    "lost_frames": ("lost_frames", ""),
    "resets": ("board_restarts", ""),
}

PASS_COLUMNS: dict[str, tuple[str, str]] = {
    "number": ("pass", ""),
    "start_s": ("start", "time"),
    "end_s": ("end", "time"),
    "distance_m": ("distance", "length"),
    "area_m2": ("area", "area"),
    "volume_m3": ("volume", "volume"),
    "rate_m3_m2": ("rate", "rate"),
    "rate_u_m3_m2": ("rate_standard_uncertainty", "rate"),
    "speed_m_s": ("speed", "speed"),
    "pressure_pa": ("pressure", "pressure"),
    "spraying_s": ("spraying_time", "time"),
    "off_target_s": ("off_target_time", "time"),
    "off_target_m2": ("off_target_area", "area"),
}

TOTAL_COLUMNS: dict[str, tuple[str, str]] = {
    "volume_m3": ("volume", "volume"),
    "area_m2": ("area", "area"),
    "distance_m": ("distance", "length"),
    "rate_m3_m2": ("rate", "rate"),
    "rate_u_m3_m2": ("rate_standard_uncertainty", "rate"),
    "spraying_s": ("spraying_time", "time"),
    "off_target_s": ("off_target_time", "time"),
    "off_target_m2": ("off_target_area", "area"),
    "standing_s": ("standing_time", "time"),
    "standing_m3": ("standing_volume", "volume"),
    "tank_left_m3": ("tank_left", "volume"),
}
