"""The rate over speed, one line for each pressure, as a Plotly figure. Colours come from forms.css: day and dark."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from host.plan.rate import Setting, rate_table
from host.rig import Rig
from host.units import UNITS, to_user

SPEEDS = (0.7, 0.85, 1.0, 1.15, 1.3)
_LINES = 5
_DASHES = ("solid", "dash", "dot", "dashdot", "longdash")
_POINTS = 31


def pressures_of(rig: Rig) -> list[float]:
    """Pressures (Pa) over the nozzle's range; about its rated pressure where it has none."""
    nozzles = rig.nozzles
    rated = nozzles.reference_pressure_pa
    low, high = nozzles.min_pressure_pa or rated / 2, nozzles.max_pressure_pa or rated * 1.5
    return [low + (high - low) * step / (_LINES - 1) for step in range(_LINES)]


def rate_figure(
    rig: Rig, speeds_m_s: Sequence[float], pressures_pa: Sequence[float], gravity: float, setting: Setting
) -> Any:
    """Lines of equal pressure, the target, and the setting as a ring; axes in the rig's units, the rate from zero."""
    import plotly.graph_objects as go  # type: ignore[import-untyped]

    system = rig.units
    unit = UNITS[system]
    speeds = np.linspace(min(speeds_m_s), max(speeds_m_s), _POINTS)
    rates = rate_table(rig, list(speeds), pressures_pa, gravity)
    x = to_user(1.0, "speed", system) * speeds
    figure = go.Figure()
    for row, pressure in enumerate(pressures_pa):
        y = to_user(1.0, "rate", system) * rates[row]
        figure.add_scatter(x=x, y=y, mode="lines", line={"dash": _DASHES[row], "width": 3}, showlegend=False)
        label = f"{to_user(pressure, 'pressure', system):.{unit['pressure'].decimals}f} {unit['pressure'].symbol}"
        figure.add_annotation(x=float(x[-1]), y=float(y[-1]), text=label, xanchor="left", showarrow=False, xshift=4)
    target = to_user(rig.target.rate_m3_m2, "rate", system)
    figure.add_hline(
        y=target, line={"width": 2, "dash": "dot"}, annotation_text="target", annotation_position="top left"
    )
    figure.add_scatter(
        x=[to_user(setting.speed_m_s, "speed", system)],
        y=[to_user(setting.rate_m3_m2, "rate", system)],
        mode="markers",
        marker={"size": 16, "symbol": "circle-open", "line": {"width": 4}},
        showlegend=False,
    )
    figure.update_layout(
        height=340,
        margin={"l": 54, "r": 74, "t": 14, "b": 48},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"size": 14},
        xaxis={"title": f"Speed, {unit['speed'].symbol}", "zeroline": False},
        yaxis={"title": f"Rate, {unit['rate'].symbol}", "rangemode": "tozero"},
    )
    return figure
