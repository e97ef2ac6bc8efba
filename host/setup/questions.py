"""What is asked about a sprayer: each question is a key of the rig file (see host.rig.tables), or a choice between two.

The same questions are fields of the page and options of the command.
"""

from __future__ import annotations

from dataclasses import dataclass

from host.plan.fields import UNIT_CHOICES
from host.rig.sensors import SENSORS
from host.rig.tables import RIG
from host.schema import Key, Pair, Points
from host.schema.kinds import Kind
from host.schema.table import Table

# Units that a page offers beside a number, by kind and system; the first one is the usual one.
UNITS_OFFERED: dict[str, dict[str, tuple[str, ...]]] = UNIT_CHOICES | {
    "turn": {"us": ("ft", "in", "m", "cm"), "metric": ("m", "cm")},
    "pulses": {"us": ("pulses/L", "pulses/gal"), "metric": ("pulses/L",)},
    "frequency": {"us": ("Hz",), "metric": ("Hz",)},
}
Words = tuple[tuple[str, str], ...]  # values and what people read


@dataclass(frozen=True)
class Question:
    """Something to answer. `path` is its key in the rig file; `end` which end of a pair it is, 0 or 1.

    `kind` names the units offered (see `UNITS_OFFERED`; empty: none). `us` and `metric` are typical values,
    common practice. `more`: not needed, so a page folds it away. `only` names a choice and the answer for which it is
    asked. A question without a path is such a choice. `absent` is the choice that a file without the key comes to.
    """

    name: str
    label: str
    path: tuple[str, ...] = ()
    kind: str = ""
    us: str = ""
    metric: str = ""
    more: bool = False
    needed: bool = False
    end: int | None = None
    choices: Words = ()
    only: tuple[str, str] | None = None
    hint: str = ""
    absent: str = ""

    @property
    def option(self) -> str:
        """Name of the command's option."""
        return f"--{self.name.replace('_', '-')}"

    def typical(self, system: str) -> str:
        """A typical value in "us" or "metric" units."""
        return self.us if system == "us" else self.metric or self.us

    @property
    def key(self) -> Key:
        """The key of the rig file."""
        table: Kind = RIG
        for name in self.path[:-1]:
            assert isinstance(table, Table)
            table = table.keys[name].kind
        assert isinstance(table, Table)
        return table.keys[self.path[-1]]

    @property
    def reads(self) -> Kind:
        """What reads the answer: a pair's end is one quantity."""
        kind = self.key.kind
        return kind.of if isinstance(kind, Pair) else kind

    @property
    def rows(self) -> bool:
        """Whether the answer is a table: "15 psi: 0.12 gpm; 40 psi: 0.20 gpm"."""
        return bool(self.path) and isinstance(self.key.kind, Points)


@dataclass(frozen=True)
class Group:
    """Questions about one part of the sprayer, under a heading."""

    name: str
    heading: str
    about: str
    questions: tuple[Question, ...]


_YES_NO = (("no", "No"), ("yes", "Yes"))
_SENSORS: Words = tuple((kind, {"hall": "Hall sensor"}.get(kind, kind.capitalize())) for kind in SENSORS)
_WHEEL, _COURSE, _TRANSDUCER = ("travel", "wheel"), ("travel", "course"), ("transducer", "yes")
REPORT_INTERVAL, USUAL_INTERVAL = "report_interval", "50 ms"
NAME = Question("name", "Name of the sprayer", ("name",), us="Four-nozzle walking boom", needed=True)
UNITS = Question("units", "Units to show", ("units",), choices=(("us", "US"), ("metric", "Metric")))

GROUPS = (
    Group(
        "boom",
        "Boom",
        "Count the nozzles that spray, and measure from the middle of one to the middle of the next.",
        (
            Question("nozzles", "Nozzles", ("boom", "nozzles"), us="4", needed=True),
            Question("spacing", "From nozzle to nozzle", ("boom", "spacing"), "width", "20 in", "50 cm", needed=True),
            Question("swath", "Width of one pass", ("boom", "swath"), "length", more=True,
                     hint="Left blank: nozzles times spacing."),
        ),
    ),
    Group(
        "tip",
        "Nozzle tips",
        "From the tip's chart: what one new tip gives at one pressure. A tip called 03 gives 0.30 gal/min at 40 psi.",
        (
            Question("tip_flow", "Flow of one tip", ("nozzle", "flow"), "flow", "0.30 gpm", "1.2 L/min"),
            Question("tip_at", "At this pressure", ("nozzle", "at"), "pressure", "40 psi", "3 bar"),
            Question("tip_name", "What the tip is called", ("nozzle", "name"), us="03 flat fan", more=True),
            Question("tip_low", "Lowest pressure it is made for", ("nozzle", "range"), "pressure", "15 psi", "1 bar",
                     more=True, end=0),
            Question("tip_high", "Highest pressure it is made for", ("nozzle", "range"), "pressure", "60 psi", "4 bar",
                     more=True, end=1),
            Question("tip_points", "Or several rows of its chart", ("nozzle", "points"),
                     us="15 psi: 0.18 gpm; 40 psi: 0.30 gpm", metric="1 bar: 0.69 L/min; 3 bar: 1.20 L/min", more=True,
                     hint="In place of flow and pressure above."),
        ),
    ),
    Group(
        "tank",
        "Tank",
        "What it holds when full to the mark that you always fill to.",
        (
            Question("tank", "The tank holds", ("tank", "volume"), "volume", "12 gal", "50 L", needed=True),
            Question("tank_low", "Warn when only this is left", ("tank", "low"), "volume", "1 gal", "4 L", more=True),
        ),
    ),
    Group(
        "meter",
        "Flow meter",
        "The number on the meter or its sheet; calibrating finds your own. The meter sits after the bypass, so that it "
        "counts only what goes to the boom.",
        (
            Question("factor", "Pulses", ("meter", "factor"), "pulses", "450 pulses/L", "450 pulses/L"),
            Question("meter_sensor", "What makes the pulses", ("meter", "sensor"), choices=_SENSORS, more=True),
            Question("meter_uncertainty", "Accuracy of the number", ("meter", "uncertainty"), "share", "1 %", more=True,
                     hint="Standard uncertainty."),
            Question("meter_curve", "Or the factor at several frequencies", ("meter", "curve"),
                     us="10 Hz: 442 pulses/L; 40 Hz: 452 pulses/L", more=True, hint="In place of one number."),
            Question("meter_caught_low", "Calibrated from", ("meter", "caught"), "frequency", "10 Hz", more=True,
                     end=0),
            Question("meter_caught_high", "Calibrated up to", ("meter", "caught"), "frequency", "40 Hz", more=True,
                     end=1),
        ),
    ),
    Group(
        "travel",
        "Your speed",
        "A wheel with magnets measures it. Without one, time yourself over a measured course.",
        (
            Question("travel", "How is the speed known?", choices=(("wheel", "Wheel"), ("course", "Timed course"))),
            Question("circumference", "Way of one turn", ("wheel", "circumference"), "turn", "4 ft", "1.20 m",
                     needed=True, only=_WHEEL, hint="Loaded as when spraying: roll ten turns, divide by ten."),
            Question("magnets", "Magnets on the wheel", ("wheel", "pulses_per_turn"), us="10", needed=True,
                     only=_WHEEL),
            Question("course_distance", "Length of the course", ("course", "distance"), "length", "200 ft", "60 m",
                     needed=True, only=_COURSE),
            Question("course_time", "Time you take for it", ("course", "time"), "time", "60 s", needed=True,
                     only=_COURSE),
            Question("wheel_sensor", "What makes the pulses", ("wheel", "sensor"), choices=_SENSORS, more=True,
                     only=_WHEEL),
            Question("wheel_uncertainty", "Accuracy of the way", ("wheel", "uncertainty"), "share", "1 %", more=True,
                     only=_WHEEL, hint="Standard uncertainty."),
            Question("course_uncertainty", "How well you keep the speed", ("course", "uncertainty"), "share", "3 %",
                     more=True, only=_COURSE, hint="Standard uncertainty of one pass."),
            Question("course_spread", "Of it, what differs from pass to pass", ("course", "pass_spread"), "share",
                     "2 %", more=True, only=_COURSE),
        ),
    ),
    Group(
        "pressure",
        "Pressure",
        "The usual transducer gives 0.5 to 4.5 V. Its highest pressure is printed on it.",
        (
            Question("transducer", "Is there a pressure transducer?", choices=_YES_NO[::-1]),
            Question("span_high", "Highest pressure printed on it", ("pressure", "span"), "pressure", "100 psi",
                     "10 bar", needed=True, end=1, only=_TRANSDUCER),
            Question("span_low", "Lowest pressure", ("pressure", "span"), "pressure", "0 psi", "0 bar", more=True,
                     end=0, only=_TRANSDUCER, hint="Left blank: zero."),
            Question("output_low", "Output at the lowest", ("pressure", "output"), "share", "10 %", more=True, end=0,
                     only=_TRANSDUCER, hint="Of its supply: 0.5 V of 5 V is 10 %."),
            Question("output_high", "Output at the highest", ("pressure", "output"), "share", "90 %", more=True, end=1,
                     only=_TRANSDUCER),
            Question("pressure_uncertainty", "Accuracy of its zero", ("pressure", "uncertainty"), "share", "1 %",
                     more=True, only=_TRANSDUCER, hint="Standard uncertainty, of the whole span."),
            Question("pressure_gain", "Accuracy of its slope", ("pressure", "gain_uncertainty"), "share", "1 %",
                     more=True, only=_TRANSDUCER, hint="Standard uncertainty, of the pressure."),
            Question("pressure_highest", "Calibrated up to", ("pressure", "highest"), "pressure", "40 psi", "3 bar",
                     more=True, only=_TRANSDUCER),
        ),
    ),
    Group(
        "switch",
        "Spray switch",
        "A switch that closes when the boom sprays. Without it the flow tells when you spray.",
        (Question("spray_switch", "Is a spray switch wired?", ("spray_switch",), choices=_YES_NO),),
    ),
    Group(
        "board",
        "Board",
        "It counts the pulses and reports to the computer.",
        (
            Question(REPORT_INTERVAL, "How often it reports", ("report_interval",), more=True, absent="100 ms",
                     choices=((USUAL_INTERVAL, "Every 50 ms"), ("100 ms", "Every 100 ms")),
                     hint="100 ms: smaller files, faults 0.05 s later."),
        ),
    ),
    Group(
        "target",
        "Target",
        "What you want on the ground, of spray mix.",
        (
            Question("rate", "Rate", ("target", "rate"), "rate", "1.0 gal/1000 ft2", "4.0 L/100 m2", needed=True),
            Question("band", "Still on target within", ("target", "band"), "share", "10 %", more=True),
        ),
    ),
    Group(
        "pump",
        "Pump",
        "If you know it. With rows of its chart the plan can say whether the pump is big enough.",
        (
            Question("pump_open_flow", "Flow with nothing in its way", ("pump", "open_flow"), "flow", "3.0 gpm",
                     "12 L/min", more=True),
            Question("pump_shutoff", "Pressure with its outlet shut", ("pump", "shutoff_pressure"), "pressure",
                     "90 psi", "6 bar", more=True),
            Question("pump_switch", "Its pressure switch opens at", ("pump", "switch_pressure"), "pressure", "60 psi",
                     "4 bar", more=True),
            Question("pump_points", "Or rows of its chart", ("pump", "points"),
                     us="0 psi: 3.0 gpm; 40 psi: 2.1 gpm", metric="0 bar: 12 L/min; 3 bar: 8 L/min", more=True,
                     hint="In place of the open flow."),
        ),
    ),
)  # fmt: skip
QUESTIONS = (NAME, UNITS, *(question for group in GROUPS for question in group.questions))
BY_NAME = {question.name: question for question in QUESTIONS}
