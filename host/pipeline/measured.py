"""What the board's reports say in themselves: times, counts, flow, travel, pressure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from firmware_protocol.messages import Flag
from host.formulas import flow_from_frequency
from host.frames import Event, Frames
from host.pipeline.applying import SprayState
from host.pipeline.bouncing import Bouncing
from host.pipeline.carry import RunningSum
from host.pipeline.clock import ClockScale
from host.pipeline.columns import Bools, Floats
from host.pipeline.counts import Counts, CountUnwrapper
from host.pipeline.fitted import Capabilities, Fitted, Inputs
from host.pipeline.flow_silence import Dry, FlowSilence
from host.pipeline.pressure import PressureReading, Pressures
from host.pipeline.pulses import PulseTimer, Pulsing
from host.pipeline.refused import Refused, RefusedEdges
from host.pipeline.switch_sense import SwitchSense
from host.pipeline.travel import Travel, Traveller
from host.rig import Rig

_STOP_PERIODS = 4.0  # flow below a quarter of the rated one is no spraying
_STOP_RANGE_S = (0.15, 1.5)


@dataclass(frozen=True)
class Measured:
    """Arrays of shape (n,), or of such arrays."""

    host_s: Floats
    scale: Floats  # host seconds per board second
    step_s: Floats  # since the frame before
    counts: Counts
    fitted: Fitted
    flow: Pulsing
    per_m3: Floats  # pulses per volume at the frequency of the moment
    flow_m3_s: Floats
    step_m3: Floats  # since the frame before
    volume_m3: Floats  # total
    travel: Travel
    pressure: Pressures
    spraying: Bools
    dry: Dry
    refused: Mapping[str, Bools]  # where true pulses of "flow" and "wheel" came too fast for the filter


class Measurer:
    """Frames in, what they measure out."""

    def __init__(self, rig: Rig) -> None:
        self._meter = rig.meter
        self._unwrap, self._clock = CountUnwrapper(), ClockScale()
        self._flow = PulseTimer(flow_stop_s(rig) * 1e6)
        self._travel, self._pressure = Traveller(rig), PressureReading(rig.pressure)
        self._bouncing, self._capabilities, self._spraying = Bouncing(rig), Capabilities(rig), SprayState()
        self._sense = SwitchSense()
        self._volume, self._refused, self._silence = RunningSum(), RefusedEdges(), FlowSilence()

    @property
    def inputs(self) -> Inputs:
        """What can be measured, by the newest that the board has said."""
        return self._capabilities.now

    @property
    def switch_backwards_s(self) -> float:
        """Since when the spray switch is known to read the wrong way round (host's clock); not a number otherwise."""
        return self._sense.backwards_s

    @property
    def bouncing(self) -> tuple[str, ...]:
        """Inputs whose contact has been counting without a filter until now."""
        return self._bouncing.now

    @property
    def refused(self) -> list[Refused]:
        """When an input that the board has refused more edges than is good; not that a contact bounces."""
        has, noisy = {"flow": self.inputs.meter, "wheel": self.inputs.wheel}, self._bouncing.clean
        windows = self._refused.windows
        return [one for one in windows if has[one.name] and (one.too_fast or noisy[one.name])]

    @property
    def put_back(self) -> dict[str, int]:
        """Pulses that the board dropped and has told of since, by input."""
        return self._unwrap.put_back

    def push(self, frames: Frames, events: list[Event]) -> Measured:
        """Continue with `frames`, shape (n,), among which `events` lie."""
        host_s = frames["host_s"].copy()
        counts = self._unwrap.push(frames, events)
        scale = self._clock.push(counts, host_s)
        step_s = counts.step_us * 1e-6 * scale
        flow = self._flow.push(counts, counts.flow)
        unfiltered = self._bouncing.push(frames, counts, events)
        fitted = self._capabilities.push(frames, counts, unfiltered, events)
        on: Bools = (frames["flags"] & Flag.SPRAY) != 0
        backwards = self._sense.push(on & fitted.switch & fitted.meter, counts.board_us, counts.flow.step, host_s)
        if backwards.any():  # then the flow alone says when it sprays
            fitted = replace(fitted, switch=fitted.switch & ~backwards)
        spraying = self._spraying.push(on, counts, flow, fitted)
        per_m3 = self._meter.pulses_per_m3(flow.counted_hz / scale)
        step_m3 = (counts.flow.step + counts.flow.late) / per_m3
        travel = self._travel.push(counts, scale, np.where(spraying, step_s, 0.0))
        on &= fitted.switch & fitted.meter
        dry = self._silence.push(counts, flow, on, travel.moving & fitted.wheel, fitted.sure_wheel)
        counting = {"flow": flow.counted_hz, "wheel": travel.counted_hz}
        refused = self._refused.push(frames, counts, counting, events)
        return Measured(
            host_s=host_s,
            scale=scale,
            step_s=step_s,
            counts=counts,
            fitted=fitted,
            flow=flow,
            per_m3=per_m3,
            flow_m3_s=flow_from_frequency(flow.frequency_hz / scale, per_m3),
            step_m3=step_m3,
            volume_m3=self._volume(step_m3),
            travel=travel,
            pressure=self._pressure.push(frames, events, fitted.pressure),
            spraying=spraying,
            dry=dry,
            refused={"flow": refused["flow"] & fitted.meter, "wheel": refused["wheel"] & fitted.wheel},
        )


def flow_stop_s(rig: Rig) -> float:
    """How long after its last edge the flow meter counts as stopped: four periods at the rated flow."""
    rated = rig.nozzles.count * rig.nozzles.points[0][1]
    hz = rated * rig.meter.curve[0][1]
    return min(max(_STOP_PERIODS / hz, _STOP_RANGE_S[0]), _STOP_RANGE_S[1])
