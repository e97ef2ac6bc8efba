"""From the pipeline's newest values to the texts on the screen, in the rig's units. Pure; the browser only places them.

The keys of a row are the `data-field` names in `page.html`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from dashboards.live.faults import NOTHING, fault_texts
from host.pipeline.tank import refill_not_told
from host.units import UNITS, format_number, to_user

DASH = "–"
EXPANDED = 2.0  # coverage factor of every ± shown: 95 %
_SEEN = 0.005  # of the volume
# The pipeline's words, and how large letters say them.
ADVICE = {
    "on target": ("hold", "On target"),
    "walk faster": ("faster", "Walk faster"),
    "slow down": ("slower", "Slow down"),
    "not spraying": ("idle", "Not spraying"),
    "standing still: stop spraying": ("standing", "Stop spraying"),  # the page adds why
    "wait for rate": ("wait", "Measuring…"),
    "lower the pressure": ("lower", "Lower pressure"),
    "raise the pressure": ("raise", "Raise pressure"),
    "rate not known": ("wait", "Rate not known"),
    "calibrating": ("idle", "Calibrating"),
}
STOP = ("stop", "Stop")  # under a fault that spoils the ground; the page adds which
IN_DOUBT = ("wait", "Rate in doubt")  # while what counts flow or way has failed
STOPPED = ("idle", "standing")  # nothing is sprayed, or the page says so already

_NUMBERS = (
    *("rate", "target", "band_low", "band_high", "pace", "pace_wanted", "flow", "pressure", "tank", "area", "pass"),
    "off_target",
)
_TEXTS = ("rate_spread", "off_by", "off_side", "covers", "sprayed", "pass_length", "standing", "stood")
_UNIT_OF = {
    "rate": "rate",
    "pace": "speed",
    "flow": "flow",
    "pressure": "pressure",
    "tank": "volume",
    "area": "area",
}


def number(value_si: float | None, kind: str, system: str, decimals: int | None = None) -> str:
    """The number alone, rounded as the unit asks, thousands set apart; a dash when there is none."""
    return format_number(value_si, kind, system, decimals=decimals)


def clock(seconds: float | None) -> str:
    """Minutes and seconds, hours when there are any: 754 -> "12:34"."""
    if seconds is None or not math.isfinite(seconds):
        return DASH
    whole = int(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def band_position(rate: float | None, target: float, high: float) -> float | None:
    """Where the rate stands: 0 on target, ±1 on the edges of the band; None without a rate."""
    if rate is None or not math.isfinite(rate) or high <= target:
        return None
    return round((rate - target) / (high - target), 3)


def deviation(rate: float | None, target: float) -> tuple[str, str]:
    """How far the rate is from the target, in words: ("8 %", "over")."""
    if rate is None or not math.isfinite(rate) or target <= 0:
        return "", ""
    percent = round(100 * (rate / target - 1))
    side = "off" if percent == 0 else "over" if percent > 0 else "under"
    return f"{abs(percent)} %", side


def blank_row(system: str) -> dict[str, Any]:
    """What stands there before the first report: units, and dashes for numbers."""
    nothing: dict[str, Any] = dict.fromkeys(_NUMBERS, DASH)
    units = {f"{name}_unit": UNITS[system][kind].symbol for name, kind in _UNIT_OF.items()}
    texts = dict.fromkeys(_TEXTS, "")
    start = NOTHING | {"tank_state": "", "frame": -1, "t": 0.0, "advice": "none", "words": "Waiting", "position": None}
    return nothing | units | texts | start


def screen_row(live: Mapping[str, Any], system: str) -> dict[str, Any]:
    """The texts for one update.

    `live` is the pipeline's live row (SI) with the number of the frame as `frame`; `system` is "us" or "metric".
    """
    code, words = ADVICE.get(str(live["advice"]), ("wait", str(live["advice"]).capitalize()))
    unit = {kind: unit.symbol for kind, unit in UNITS[system].items()}
    target, high, low = live["target_m3_m2"], live["band_high_m3_m2"], live["band_low_m3_m2"]
    left, metered = live["tank_left_m3"], live["volume_m3"]
    untold = left is not None and refill_not_told(left, metered)
    tank_state = "" if untold or left is None else _tank_state(live)
    spread = live["rate_u_m3_m2"]
    off_by, off_side = deviation(live["rate_m3_m2"], target)
    faults = fault_texts(live.get("faults") or (), system)
    stop = faults["fault_stops"] and code not in STOPPED
    blind = faults["fault_blinds"] and code not in STOPPED
    if stop:
        code, words = STOP
    elif blind and code != IN_DOUBT[0]:  # there is no rate yet, or the pipeline knows none
        code, words = IN_DOUBT
    known = faults | {f"{name}_unit": unit[kind] for name, kind in _UNIT_OF.items()}
    return known | {
        "frame": live["frame"],
        "t": round(float(live["host_s"]), 3),
        "advice": code,
        "words": words,
        "rate": number(live["rate_m3_m2"], "rate", system),
        "rate_spread": f"± {number(EXPANDED * spread, 'rate', system)}" if spread is not None else "",
        "off_by": off_by,
        "off_side": off_side,
        "position": band_position(live["rate_m3_m2"], target, high),
        "target": number(target, "rate", system),
        "band_low": number(low, "rate", system),
        "band_high": number(high, "rate", system),
        "pace": number(live["speed_m_s"], "speed", system, 1),
        "pace_wanted": DASH
        if stop or blind
        else number(live["keep_m_s"] or live["pace_wanted_m_s"], "speed", system, 1),
        "flow": number(live["flow_m3_s"], "flow", system, 2),
        "pressure": number(live["pressure_pa"], "pressure", system),
        "tank": DASH if untold or left is None else number(max(left, 0.0), "volume", system, 1),
        "covers": "Did you refill? Tap Refilled" if untold else _covered(live, tank_state, system),
        "tank_state": tank_state,
        "area": number(live["area_m2"], "area", system),
        "sprayed": _sprayed(live, system),
        "pass": str(live["pass_number"]),
        "pass_length": _pass_length(live, system, unit["length"]),
        "off_target": clock(live["off_target_s"]),
        "standing": _standing(live, system, unit["volume"]),
        "stood": f"{clock(live['standing_s'])} standing still" if live["standing_s"] else "",
    }


def two_digits(value_si: float, kind: str, system: str) -> str:
    """The number alone with two significant digits: what it rests on is not known better."""
    rounded = float(f"{to_user(float(value_si), kind, system):.1e}")
    places = max(1 - math.floor(math.log10(rounded)), 0) if rounded > 0 else 0
    return number(rounded / to_user(1.0, kind, system), kind, system, places)


def _tank_state(live: Mapping[str, Any]) -> str:
    """ "empty" or "low" by the count; empty when there is enough."""
    if not live["tank_left_m3"] > 0:
        return "empty"
    return "low" if live["tank_left_m3"] < live["tank_low_m3"] else ""


def _covered(live: Mapping[str, Any], state: str, system: str) -> str:
    """How far the tank lasts at the target, or that by the count nothing is left."""
    covers = live["tank_covers_m2"]
    if state == "empty":
        return "Should be empty"
    if covers is None:
        return "Low" if state else ""
    covered = f"covers {two_digits(covers, 'area', system)} {UNITS[system]['area'].symbol}"
    return f"Low: {covered}" if state else covered


def _sprayed(live: Mapping[str, Any], system: str) -> str:
    """How much has gone through the meter, and what of it does not belong to known ground."""
    if live["volume_m3"] is None:
        return "volume not known"
    volume = f"{number(live['volume_m3'], 'volume', system, 1)} {UNITS[system]['volume'].symbol}"
    return f"{volume} sprayed" + _apart(live, system)


def _apart(live: Mapping[str, Any], system: str) -> str:
    """What does not belong to known ground, once it is enough to be seen in the rate."""
    volume = live["unassigned_m3"]
    if volume is None or not volume > _SEEN * live["volume_m3"]:
        return ""
    return f", {number(volume, 'volume', system)} {UNITS[system]['volume'].symbol} not assigned"


def _pass_length(live: Mapping[str, Any], system: str, length_unit: str) -> str:
    """How far the pass under way has come."""
    if not live["in_pass"]:
        return "between passes" if live["pass_number"] else ""
    return f"{number(live['pass_distance_m'], 'length', system, 0)} {length_unit} so far"


def _standing(live: Mapping[str, Any], system: str, volume_unit: str) -> str:
    """What went down on the spot, so far in the run; nothing when there was none."""
    if not live["standing_s"]:
        return ""
    return f"{clock(live['standing_s'])} standing still, {number(live['standing_m3'], 'volume', system)} {volume_unit}"
