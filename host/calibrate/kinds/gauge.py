"""The fields about the pressure gauge, the same for every kind that reads one."""

from __future__ import annotations

from dataclasses import replace

from host.calibrate.kinds.kind import Field
from host.calibrate.vessels import USUAL_GAUGE, Gauge
from host.entries import Entries, not_below_zero, read_name

GAUGE_FIELDS = (
    Field(
        "gauge_step",
        "Smallest step that you read",
        "1 psi",
        "0.1 bar",
        quantity="pressure",
        required=False,
        of_tool=True,
    ),
    Field(
        "gauge_accuracy",
        "Gauge may be off by (blank: 2 psi)",
        "2 psi",
        "0.14 bar",
        quantity="pressure",
        required=False,
        tool=True,
        of_tool=True,
    ),
    Field("gauge_name", "Which gauge, if you have several", "brass one", required=False, of_tool=True),
)


def gauge_read(entries: Entries) -> Gauge:
    """The gauge as the fields of `GAUGE_FIELDS` say; what is usual where they are blank."""
    step = entries.read("gauge_step", not_below_zero("pressure", "The gauge's step"))
    accuracy = entries.read("gauge_accuracy", not_below_zero("pressure", "The gauge's accuracy"))
    name = entries.read("gauge_name", lambda text: read_name(text, "The gauge's name"))
    return replace(
        USUAL_GAUGE,
        step_pa=USUAL_GAUGE.step_pa if step is None else step,
        accuracy_pa=USUAL_GAUGE.accuracy_pa if accuracy is None else accuracy,
        tool=name or "",
    )
