"""What each plan asks for: the same fields are options of a command and entries of a page."""

from __future__ import annotations

from dataclasses import dataclass

from host.plan.products import ORDER


@dataclass(frozen=True)
class Field:
    """Something to type, `--name` of the command. `us` and `metric` show how, `help` says what it is.

    `more`: not needed for the plain question, so a page folds it away. `choices`: one of these, by value and words.
    """

    name: str
    label: str
    help: str
    us: str = ""
    metric: str = ""
    more: bool = False
    choices: tuple[tuple[str, str], ...] = ()

    @property
    def option(self) -> str:
        """Name of the command's option."""
        return f"--{self.name.replace('_', '-')}"

    def example(self, system: str) -> str:
        """How it is typed in "us" or "metric" units."""
        return self.us if system == "us" else self.metric or self.us


_KINDS = tuple((key, family.words) for key, family in ORDER.items())

JOB = (
    Field("area", "Area to spray", "area to spray (default: one full tank)", "60 x 25 ft", "900 m2"),
    Field("rate", "Rate", "mix per area (default: the rig's target)", "1 gal/1000 ft2", "4 L/100 m2"),
    Field("tank", "Fill the tank to", "a full load (default: the rig's whole tank)", "20 gal", "60 L", more=True),
    Field("band", "Width of a band", "in bands: width of one; --area is the field", "12 in", "30 cm", more=True),
    Field("row", "From row to row", "in bands: from the middle of one to the next", "30 in", "75 cm", more=True),
    Field("scale", "Steps of your scale", "smallest step of your scale (default: 1 g)", "0.1 g", more=True),
    Field(
        "measured_rate", "Measured rate of a run", "to see what it put down", "1.1 gal/1000 ft2", "4.4 L/100 m2", True
    ),
)
PRODUCT = (
    Field("product", "Dose on the label", "dose on the label, per area or volume of mix", "3.6 pt/acre", "3 L/ha"),
    Field("name", "Name", "what you call the product, needed to add up a season", "Clover killer", "Clover killer"),
    Field("kind", "Kind", "kind of product, for the mixing order", choices=_KINDS, more=True),
    Field(
        "active", "Active ingredient", "strength, if the dose is of active ingredient", "4 lb/gal", "50 %", more=True
    ),
    Field(
        "most", "Label: most at once", "most that the label allows at once, per area", "4 pt/acre", "4 L/ha", more=True
    ),
    Field("season", "Label: most a season", "most that the label allows a season", "8 pt/acre", "8 L/ha", more=True),
    Field("used", "Used this season", "used before (default: what your runs put down)", "3.6 pt/acre", "3 L/ha", True),
)

_RATE = Field("rate", "Rate", "volume per area", "1 gal/1000 ft2", "4 L/100 m2")
_SPEED = Field("speed", "Speed", "your speed", "2.5 mph", "4 km/h")
_PRESSURE = Field("pressure", "Pressure", "spraying pressure", "40 psi", "3 bar")
_DENSITY = Field(
    "density", "Density of the spray", "density or specific gravity", "10.65 lb/gal", "1.28 kg/L", more=True
)
_BAND = Field(
    "band", "Width of a band or spot", "band or spot: width that one nozzle sprays", "12 in", "30 cm", more=True
)
TARGETS = (
    Field("course", "My course", "length of your course", "200 ft", "50 m", more=True),
    Field("catch_time", "Catch for", "how long you hold a jug", "30 s", more=True),
    Field("step", "Length of my step", "length of one of your steps", "30 in", "75 cm", more=True),
)
RATE = (
    _RATE,
    _SPEED,
    _PRESSURE,
    Field(
        "nozzle_flow", "Or flow of one nozzle", "flow of one nozzle, in place of the pressure", "0.35 gpm", "1.3 L/min"
    ),
    _DENSITY,
    _BAND,
    *TARGETS,
)
TIPS = (_RATE, _SPEED, _PRESSURE, _DENSITY, _BAND)
MIXES = (
    ("suspension", "Wettable powder, granules, flowable"),
    ("solution", "Liquid or powder that dissolves"),
)
PUMP = (
    Field("mix", "What is in the tank", "sets the agitation; the code on a label will do", choices=MIXES),
    Field(
        "pressure",
        "Highest spraying pressure",
        "highest spraying pressure (default: the tips' range)",
        "60 psi",
        "4 bar",
    ),
    Field("margin", "Safety margin", "over nozzles and agitation, for wear (default: 20 %)", "20 %", more=True),
    Field("agitation", "Agitation", "share of the tank a minute (default: by the mix)", "5 %", more=True),
    _DENSITY,
)
REFILL = (
    Field("volume", "Water to fill up again", "what it took to fill the tank to the same mark", "3.2 gal", "12 L"),
    Field("area", "Area sprayed", "area that was sprayed", "60 x 25 ft", "300 m2"),
    Field("speed", "Speed", "speed it was sprayed at, to correct it", "2.5 mph", "4 km/h", more=True),
    Field("pressure", "Pressure", "pressure it was sprayed at, to correct it", "40 psi", "3 bar", more=True),
)
