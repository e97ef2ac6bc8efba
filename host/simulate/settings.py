"""The settings of a scenario, table by table: key, dimension, default, allowed range and meaning of each."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from firmware_protocol.messages import DEFAULT_INTERVAL_MS
from host.units import PSI_PA


def key(name: str, kind: str, default: Any, low: float | None, high: float | None, meaning: str) -> Any:
    """A dataclass field that is typed as `name` in a scenario file.

    `kind` is a dimension of host.units, or number, integer, board name, fractions, integers, or deviations.
    """
    metadata = {"key": name, "kind": kind, "low": low, "high": high, "meaning": meaning}
    return field(default=default, metadata=metadata)


@dataclass(frozen=True)
class WalkSettings:
    """What the walker means to do; the pace is the one that gives the rig's target rate unless it is given."""

    passes: int = key("passes", "integer", 8, 1, 10_000, "how many passes")
    length_m: float = key("length", "length", 38.0, 0.5, 2000, "length of a pass")
    pace_m_s: float | None = key("pace", "speed", None, 0.1, 5, "pace in passes; default: gives the target rate")
    paces: tuple[float, ...] = key("paces", "fractions", (1.0,), 0.2, 3, "pace of each pass, of `pace`, in rotation")
    lengths: tuple[float, ...] = key(
        "lengths", "fractions", (1.0,), 0.1, 10, "length of each pass, of `length`, in rotation"
    )
    variation: float = key("variation", "fraction", 0.03, 0, 0.15, "how uneven the pace is, standard deviation")
    turn_s: float = key("turn", "time", 6.0, 0.1, 600, "time for a turn, spray off")
    turn_pace: float = key("turn_pace", "fraction", 0.5, 0, 2, "pace in turns against `pace`")
    start_after_s: float = key("start_after", "time", 3.0, 0, 3600, "standing before the first pass")
    lead_s: float = key("lead", "time", 0.0, 0, 3, "the spray goes on this long after setting off")
    ends_after_s: float = key("ends_after", "time", 4.0, 0.1, 3600, "standing after the last pass")
    refill_after: tuple[int, ...] = key("refill_after", "integers", (), 1, 10_000, "fill the tank after these passes")
    refill_s: float = key("refill", "time", 90.0, 1, 7200, "time a refill takes")


@dataclass(frozen=True)
class PumpSettings:
    """The battery-fed diaphragm pump."""

    pulsation_hz: float = key("pulsation_frequency", "frequency", 30.0, 5, 90, "strokes a second at full voltage")
    pulsation: float = key("pulsation", "fraction", 0.03, 0, 0.3, "amplitude of the pressure's pulsation")
    sag_per_hour: float = key("sag_per_hour", "fraction", 0.02, 0, 0.5, "battery voltage lost in an hour")


@dataclass(frozen=True)
class RegulatorSettings:
    """The bypass regulator and the hand on its knob."""

    pressure_pa: float | None = key(
        "pressure", "pressure", None, 2e4, 1e6, "set pressure; default: where the rig states the nozzle's flow"
    )
    droop: float = key("droop", "fraction", 0.12, 0, 0.6, "rise of pressure for a fall of flow, both relative")
    wander: float = key("wander", "fraction", 0.02, 0, 0.2, "slow wandering of the set pressure, standard deviation")


@dataclass(frozen=True)
class GroundSettings:
    """What the ground does to the hose and boom, only while walking."""

    bumps: float = key("bumps", "fraction", 0.02, 0, 0.2, "pressure swing with each step, standard deviation")
    jolts_per_minute: float = key("jolts_per_minute", "number", 2.0, 0, 60, "stones and holes")
    jolt: float = key("jolt", "fraction", 0.06, 0, 0.5, "typical height of a jolt in the pressure")


@dataclass(frozen=True)
class MeterSettings:
    """The flow meter as it is; the rig file says what the user believes."""

    poles: int = key("poles", "integer", 6, 1, 32, "pulses in a turn of the rotor")
    pole_error: float = key(
        "pole_error", "fraction", 0.03, 0, 0.2, "error of a pole's place, of the pitch, standard deviation"
    )
    jitter: float = key("jitter", "fraction", 0.01, 0, 0.1, "random error of a period, standard deviation")
    lag_s: float = key("lag", "time", 0.22, 0, 2, "time constant of the rotor")
    drift: float = key("drift", "fraction", 0.003, 0, 0.1, "slow drift of the factor (20 min), standard deviation")
    deviation: tuple[tuple[float, float], ...] = key(
        "deviation", "deviations", (), None, None, "how far the true factor lies from the rig's, over frequency"
    )


@dataclass(frozen=True)
class TransducerSettings:
    """The ratiometric pressure transducer and the converter behind it."""

    zero_error_pa: float = key("zero_error", "pressure", 0.0, -1e5, 1e5, "reads this much too high")
    span_error: float = key("span_error", "fraction", 0.0, -0.2, 0.2, "span too large by")
    drift_pa: float = key("drift", "pressure", 0.15 * PSI_PA, 0, 1e5, "slow drift (30 min), standard deviation")
    noise_counts: float = key("noise_counts", "number", 1.0, 0, 50, "noise, ADC counts, standard deviation")


@dataclass(frozen=True)
class WheelSettings:
    """The measuring wheel as it is."""

    slip: float = key("slip", "fraction", 0.0, -0.2, 0.9, "share of the distance that the wheel does not turn")
    magnet_error: float = key("magnet_error", "fraction", 0.02, 0, 0.2, "error of a magnet's place, of the pitch, sd")
    magnets: int = key("magnets", "integer", 10, 1, 400, "pulses in a turn, for the pattern of the magnet error")


@dataclass(frozen=True)
class BoardSettings:
    """The emulated board."""

    name: str = key("name", "board name", "swardflow-sim", None, None, "name in the start-up line")
    interval_ms: int = key("interval_ms", "integer", DEFAULT_INTERVAL_MS, 20, 1000, "report interval at the start, ms")
    clock_error: float = key("clock_error", "fraction", 0.0, -0.02, 0.02, "board's clock runs fast by")
    start_clock_us: int = key("start_clock_us", "integer", 0, 0, 2**32 - 1, "µs clock at the start")
    boot: int = key("boot", "integer", 1, 0, 255, "start number")
    adc_full_scale: int = key("adc_full_scale", "integer", 1023, 255, 4095, "largest ADC count")
    buffer_lines: int = key("buffer_lines", "integer", 4, 0, 100, "lines it can hold while its output is blocked")


@dataclass(frozen=True)
class LinkSettings:
    """The way from the board to the computer."""

    latency_s: float = key("latency", "time", 0.001, 0, 1, "shortest delay after a line's last byte")
    jitter_s: float = key("jitter", "time", 0.001, 0, 1, "mean of the random delay on top")
    loss: float = key("loss", "fraction", 0.0, 0, 1, "share of lines that never arrive")
    damage: float = key("damage", "fraction", 0.0, 0, 1, "share of lines in which a byte is changed")


TABLES: dict[str, type[Any]] = {
    "walk": WalkSettings,
    "pump": PumpSettings,
    "regulator": RegulatorSettings,
    "ground": GroundSettings,
    "meter": MeterSettings,
    "transducer": TransducerSettings,
    "wheel": WheelSettings,
    "board": BoardSettings,
    "link": LinkSettings,
}
