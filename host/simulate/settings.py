"""The settings of a scenario, table by table: key, dimension, default, allowed range and meaning of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from firmware_protocol.messages import DEFAULT_INTERVAL_MS
from host.schema import Choice, ListOf, Number, Points, Quantity, Text, Whole, YesNo, key
from host.units import PSI_PA

PARTS = ("pressure", "switch", "wheel")
BOARD_NAME = Text(16, "[a-z0-9-]+", "1 to 16 of a-z, 0-9 and -")  # as PROTOCOL.md has it


def quantity(name: str, kind: str, default: float | None, low: float, high: float, meaning: str) -> Any:
    """A field that is typed as `name`: a quantity with its unit; a fraction may also be a plain number."""
    return key(Quantity(kind, low, high, bare=kind == "fraction"), meaning, name=name, default=default)


@dataclass(frozen=True)
class WalkSettings:
    """What the walker means to do; the pace is the one that gives the rig's target rate unless it is given."""

    passes: int = key(Whole(1, 10_000), "how many passes", default=8)
    length_m: float = quantity("length", "length", 38.0, 0.5, 2000, "length of a pass")
    pace_m_s: float | None = quantity("pace", "speed", None, 0.1, 5, "pace in passes; default: gives the target rate")
    paces: tuple[float, ...] = key(
        ListOf(Quantity("fraction", 0.2, 3, bare=True)),
        "pace of each pass, of `pace`, in rotation",
        name="paces",
        default=(1.0,),
    )
    lengths: tuple[float, ...] = key(
        ListOf(Quantity("fraction", 0.1, 10, bare=True)),
        "length of each pass, of `length`, in rotation",
        name="lengths",
        default=(1.0,),
    )
    variation: float = quantity("variation", "fraction", 0.03, 0, 0.15, "how uneven the pace is, standard deviation")
    turn_s: float = quantity("turn", "time", 6.0, 0.1, 600, "time for a turn, spray off")
    turn_pace: float = quantity("turn_pace", "fraction", 0.5, 0, 2, "pace in turns against `pace`")
    start_after_s: float = quantity("start_after", "time", 3.0, 0, 3600, "standing before the first pass")
    lead_s: float = quantity("lead", "time", 0.0, 0, 3, "the spray goes on this long after setting off")
    ends_after_s: float = quantity("ends_after", "time", 4.0, 0.1, 3600, "standing after the last pass")
    valve_s: float = quantity("valve", "time", 0.0, 0, 5, "time in which a hand turns the boom valve; default: at once")
    switch_early_s: float = quantity(
        "switch_early", "time", 0.0, -2, 2, "the spray switch shows so long before the valve moves; negative: after it"
    )
    refill_after: tuple[int, ...] = key(ListOf(Whole(1, 10_000)), "fill the tank after these passes", default=())
    refill_s: float = quantity("refill", "time", 90.0, 1, 7200, "time a refill takes")


@dataclass(frozen=True)
class PumpSettings:
    """The battery-fed diaphragm pump."""

    pulsation_hz: float = quantity("pulsation_frequency", "frequency", 30.0, 5, 90, "strokes a second at full voltage")
    pulsation: float = quantity("pulsation", "fraction", 0.03, 0, 0.3, "amplitude of the pressure's pulsation")
    sag_per_hour: float = quantity("sag_per_hour", "fraction", 0.02, 0, 0.5, "battery voltage lost in an hour")


@dataclass(frozen=True)
class RegulatorSettings:
    """The bypass regulator and the hand on its knob."""

    pressure_pa: float | None = quantity(
        "pressure", "pressure", None, 2e4, 1e6, "set pressure; default: where the rig states the nozzle's flow"
    )
    droop: float = quantity("droop", "fraction", 0.12, 0, 0.6, "rise of pressure for a fall of flow, both relative")
    wander: float = quantity(
        "wander", "fraction", 0.02, 0, 0.2, "slow wandering of the set pressure, standard deviation"
    )


@dataclass(frozen=True)
class GroundSettings:
    """What the ground does to the hose and boom, only while walking."""

    bumps: float = quantity("bumps", "fraction", 0.02, 0, 0.2, "pressure swing with each step, standard deviation")
    jolts_per_minute: float = key(Number(0, 60), "stones and holes", default=2.0)
    jolt: float = quantity("jolt", "fraction", 0.06, 0, 0.5, "typical height of a jolt in the pressure")


@dataclass(frozen=True)
class MeterSettings:
    """The flow meter as it is; the rig file says what the user believes."""

    poles: int = key(Whole(1, 32), "pulses in a turn of the rotor", default=6)
    pole_error: float = quantity(
        "pole_error", "fraction", 0.03, 0, 0.2, "error of a pole's place, of the pitch, standard deviation"
    )
    jitter: float = quantity("jitter", "fraction", 0.01, 0, 0.1, "random error of a period, standard deviation")
    lag_s: float = quantity("lag", "time", 0.22, 0, 2, "time constant of the rotor")
    drift: float = quantity("drift", "fraction", 0.003, 0, 0.1, "slow drift of the factor (20 min), standard deviation")
    deviation: tuple[tuple[float, float], ...] = key(
        Points(Quantity("frequency"), Quantity("fraction", -0.5, 0.5, bare=True)),
        "how far the true factor lies from the rig's, over frequency",
        name="deviation",
        default=(),
    )


@dataclass(frozen=True)
class TransducerSettings:
    """The ratiometric pressure transducer and the converter behind it."""

    zero_error_pa: float = quantity("zero_error", "pressure", 0.0, -1e5, 1e5, "reads this much too high")
    span_error: float = quantity("span_error", "fraction", 0.0, -0.2, 0.2, "span too large by")
    drift_pa: float = quantity("drift", "pressure", 0.15 * PSI_PA, 0, 1e5, "slow drift (30 min), standard deviation")
    noise_counts: float = key(Number(0, 50), "noise, ADC counts, standard deviation", default=1.0)


@dataclass(frozen=True)
class WheelSettings:
    """The measuring wheel as it is."""

    slip: float = quantity("slip", "fraction", 0.0, -0.2, 0.9, "share of the distance that the wheel does not turn")
    magnet_error: float = quantity(
        "magnet_error", "fraction", 0.02, 0, 0.2, "error of a magnet's place, of the pitch, sd"
    )
    magnets: int = key(Whole(1, 400), "pulses in a turn, for the pattern of the magnet error", default=10)


@dataclass(frozen=True)
class BoardSettings:
    """The emulated board."""

    name: str = key(BOARD_NAME, "name in the start-up line", default="swardflow-sim")
    interval_ms: int = key(Whole(20, 1000), "report interval at the start, ms", default=DEFAULT_INTERVAL_MS)
    clock_error: float = quantity("clock_error", "fraction", 0.0, -0.02, 0.02, "board's clock runs fast by")
    start_clock_us: int = key(Whole(0, 2**32 - 1), "µs clock at the start", default=0)
    boot: int = key(Whole(0, 255), "start number", default=1)
    adc_full_scale: int = key(Whole(255, 4095), "largest ADC count", default=1023)
    buffer_lines: int = key(Whole(0, 100), "lines it can hold while its output is blocked", default=4)
    without: tuple[str, ...] = key(
        ListOf(Choice(PARTS)), "inputs that the rig has and the board has not: pressure, switch, wheel", default=()
    )
    keeps_counts: bool = key(YesNo(), "a restart carries over the pulses that had not been sent", default=False)
    flow_filter_s: float = quantity(
        "flow_filter",
        "time",
        100e-6,
        50e-6,
        0.05,
        "flow pulses that come sooner are refused, until a host sets another",
    )


@dataclass(frozen=True)
class LinkSettings:
    """The way from the board to the computer."""

    latency_s: float = quantity("latency", "time", 0.001, 0, 1, "shortest delay after a line's last byte")
    jitter_s: float = quantity("jitter", "time", 0.001, 0, 1, "mean of the random delay on top")
    loss: float = quantity("loss", "fraction", 0.0, 0, 1, "share of lines that never arrive")
    damage: float = quantity("damage", "fraction", 0.0, 0, 1, "share of lines in which a byte is changed")
