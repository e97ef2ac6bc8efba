"""What each plan asks for: the same fields are options of a command and entries of a page."""

from __future__ import annotations

from dataclasses import dataclass

from host.plan.products import ORDER


@dataclass(frozen=True)
class Field:
    """Something to type, `--name` of the command.

    `kind` is what it measures (see `UNIT_CHOICES`; empty: text), `us` and `metric` show how it is typed, `help` says
    what it is. `more`: not needed for the plain question, so a page folds it away. `choices`: one of these, by value
    and words.
    """

    name: str
    label: str
    kind: str
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


# Units that a page offers beside a number, by kind and system; the first one is the usual one.
UNIT_CHOICES: dict[str, dict[str, tuple[str, ...]]] = {
    "rate": {"us": ("gal/1000 ft²", "gal/acre"), "metric": ("L/100 m²", "L/ha")},
    "speed": {"us": ("mph", "ft/s"), "metric": ("km/h", "m/s")},
    "pressure": {"us": ("psi", "bar"), "metric": ("bar", "kPa")},
    "flow": {"us": ("gpm", "fl oz/min"), "metric": ("L/min", "mL/min")},
    "volume": {"us": ("gal", "fl oz"), "metric": ("L", "mL")},
    "area": {"us": ("ft²", "acre"), "metric": ("m²", "ha")},
    "length": {"us": ("ft", "yd"), "metric": ("m", "cm")},
    "width": {"us": ("in", "ft"), "metric": ("cm", "m")},
    "time": {"us": ("s", "min"), "metric": ("s", "min")},
    "share": {"us": ("%",), "metric": ("%",)},
    "density": {"us": ("lb/gal", "kg/L"), "metric": ("kg/L", "lb/gal")},
    "scale": {"us": ("g", "oz wt"), "metric": ("g",)},
    "strength": {"us": ("%", "lb/gal", "g/L"), "metric": ("%", "g/L")},
    "dose": {
        "us": (
            "fl oz/1000 ft²", "fl oz/acre", "pt/acre", "qt/acre", "oz wt/1000 ft²", "oz wt/acre", "lb/acre",
            "fl oz/gal", "pt/100 gal", "lb/100 gal", "%",
        ),
        "metric": ("mL/100 m²", "L/ha", "mL/ha", "g/100 m²", "kg/ha", "g/ha", "mL/L", "mL/100 L", "g/100 L", "%"),
    },
    "per_area": {
        "us": ("fl oz/1000 ft²", "fl oz/acre", "pt/acre", "qt/acre", "oz wt/1000 ft²", "oz wt/acre", "lb/acre"),
        "metric": ("mL/100 m²", "L/ha", "mL/ha", "g/100 m²", "kg/ha", "g/ha"),
    },
}  # fmt: skip
_KINDS = tuple((key, family.words) for key, family in ORDER.items())

JOB = (
    Field("area", "Area to spray", "area", "area to spray (default: one full tank)", "60 x 25 ft", "900 m2"),
    Field("place", "Name of the lawn", "", "where; a season then counts what was used there", "Lower green"),
    Field("rate", "Rate", "rate", "mix per area (default: the rig's target)", "1 gal/1000 ft2", "4 L/100 m2", True),
    Field("tank", "Fill the tank to", "volume", "a full load (default: the rig's whole tank)", "20 gal", "60 L", True),
    Field("band", "Width of a band", "width", "in bands: width of one; --area is the field", "12 in", "30 cm", True),
    Field("row", "From row to row", "width", "in bands: from the middle of one to the next", "30 in", "75 cm", True),
    Field("scale", "Steps of your scale", "scale", "smallest step of your scale (default: 1 g)", "0.1 g", more=True),
    Field("measured_rate", "Measured rate of a run", "rate", "to see what it put down", "1.1 gal/1000 ft2",
          "4.4 L/100 m2", True),
)  # fmt: skip
PRODUCT = (
    Field("product", "Dose on the label", "dose", "dose on the label, per area or of mix", "3.6 pt/acre", "3 L/ha"),
    Field("name", "Product", "", "what you call the product, needed to add up a season", "Clover killer"),
    Field("kind", "Kind", "", "kind of product, for the mixing order", more=True, choices=_KINDS),
    Field("active", "Strength, if the dose is of active ingredient", "strength",
          "strength, if the dose is of active ingredient", "4 lb/gal", "50 %", True),
    Field("most", "Label: most at once", "per_area", "most that the label allows at once", "4 pt/acre", "4 L/ha", True),
    Field("season", "Label: most a season", "per_area", "most the label allows a season", "8 pt/acre", "8 L/ha", True),
    Field("used", "Used this season", "per_area", "used before (default: what your runs put down)", "3.6 pt/acre",
          "3 L/ha", True),
)  # fmt: skip

_RATE = Field("rate", "Rate", "rate", "volume per area", "1 gal/1000 ft2", "4 L/100 m2")
_SPEED = Field("speed", "Speed", "speed", "your speed", "2.5 mph", "4 km/h")
_PRESSURE = Field("pressure", "Pressure", "pressure", "spraying pressure", "40 psi", "3 bar")
_DENSITY = Field("density", "Density of the spray", "density", "density or gravity (default: water)", "10.65 lb/gal",
                 "1.28 kg/L", True)  # fmt: skip
_BAND = Field("band", "Width of a band or spot", "width", "width one nozzle sprays", "12 in", "30 cm", True)
RATE = (
    _RATE,
    _SPEED,
    _PRESSURE,
    Field("nozzle_flow", "Or flow of one nozzle", "flow", "flow of one nozzle, for the pressure", "0.35 gpm",
          "1.3 L/min", True),
    _DENSITY,
    _BAND,
    Field("course", "My course", "length", "length of your course", "200 ft", "50 m", True),
    Field("catch_time", "Hold a jug for", "time", "how long you hold a jug", "30 s", more=True),
    Field("step", "Length of my step", "width", "length of one of your steps", "30 in", "75 cm", True),
)  # fmt: skip
TIPS = (_RATE, _SPEED, _PRESSURE, _DENSITY, _BAND)
MIXES = (("suspension", "Wettable powder, granules, flowable"), ("solution", "Liquid or powder that dissolves"))
PUMP = (
    Field("mix", "What is in the tank", "", "sets the agitation; the code on a label will do", choices=MIXES),
    Field("pressure", "Highest spraying pressure", "pressure", "the highest you spray at (default: the tips' range)",
          "60 psi", "4 bar"),
    Field("margin", "Safety margin", "share", "over nozzles and agitation, for wear (default: 20 %)", "20 %",
          more=True),
    Field("agitation", "Agitation a minute", "share", "share of the tank a minute (default: by the mix)", "5 %",
          more=True),
    _DENSITY,
)  # fmt: skip
REFILL = (
    Field("volume", "Water to fill it up again", "volume", "what it took to fill the tank to the same mark", "3.2 gal",
          "12 L"),
    Field("area", "Area sprayed", "area", "area that was sprayed", "60 x 25 ft", "300 m2"),
    Field("speed", "Speed", "speed", "speed it was sprayed at, to correct it", "2.5 mph", "4 km/h", True),
    Field("pressure", "Pressure", "pressure", "pressure it was sprayed at, to correct it", "40 psi", "3 bar", True),
)  # fmt: skip
