"""Frames made from known pulse trains, so that the right answer is known beforehand."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np

from firmware_protocol.messages import Identity
from host.frames import FRAME_DTYPE, Event

# Who the board is: all fitted, a converter of ten bits. Before it has said so no pressure is known.
NAMED = Identity(7, "1.0", "made", "1.0", 1023, 100, 0x0F, "P")
IDENTITY = Event(0.0, 0, "identity", asdict(NAMED))

RIG = """
name = "Test rig"
units = "metric"
spray_switch = true
[tank]
volume = "60 L"
[boom]
nozzles = 4
spacing = "50 cm"
[nozzle]
flow = "1.0 L/min"
at = "3 bar"
[meter]
factor = "600 /L"
uncertainty = "1 %"
[pressure]
span = ["0 bar", "10 bar"]
[wheel]
circumference = "1.0 m"
pulses_per_turn = 10
uncertainty = "0.5 %"
[target]
rate = "200 L/ha"
band = "10 %"
"""


def made_frames(
    flow_hz,
    wheel_hz,
    spray,
    *,
    step_s=0.1,
    first_clock_us=0,
    clock_error=0.0,
    boot=7,
    counts=(0, 0),
    pressure_counts=327.68,
):
    """Frames from pulse frequencies and the switch, each an array with one value per frame interval.

    Frequencies are in true time; the board's clock runs fast by `clock_error`. Pulses fall where the integral of the
    frequency passes a whole number.
    """
    n = len(flow_hz)
    time_s = np.arange(n + 1) * step_s
    clock = np.rint(first_clock_us + time_s * (1 + clock_error) * 1e6).astype(np.int64)
    frames = np.zeros(n, dtype=FRAME_DTYPE)
    frames["host_s"] = time_s[1:]
    frames["boot"] = boot
    frames["seq"] = np.arange(n) % 2**16
    frames["clock"] = clock[1:] % 2**32
    for name, hz, start in (("flow", flow_hz, counts[0]), ("wheel", wheel_hz, counts[1])):
        phase = np.concatenate(([0.5], 0.5 + np.cumsum(np.asarray(hz) * step_s)))
        whole = np.floor(phase[1:]).astype(np.int64)
        # The time of the latest whole number reached; a hair of slope keeps pauses in their place.
        edge_s = np.interp(whole, phase + np.arange(n + 1) * 1e-12, time_s)
        edge = np.rint(first_clock_us + edge_s * (1 + clock_error) * 1e6).astype(np.int64)
        frames[f"{name}_count"] = (whole + start) % 2**32
        frames[f"{name}_edge"] = np.where(whole + start > 0, edge % 2**32, 0)
    frames["pressure_mean"] = round(pressure_counts * 16)
    frames["pressure_min"] = frames["pressure_max"] = round(pressure_counts)
    frames["flags"] = np.asarray(spray).astype(np.uint8)
    return frames


def steady(n, flow_hz=40.0, wheel_hz=10.0, spray=True, **more):
    return made_frames(np.full(n, flow_hz), np.full(n, wheel_hz), np.full(n, spray), **more)
