"""Command lines that calculate, good ones, and what to put into their places to make them bad."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass

from tests.host.plan.asking import METRIC, US

NO_NUMBER = (
    "x",
    "nan",
    "nan {u}",
    "inf {u}",
    "-inf {u}",
    "{u}",
    "+ {u}",
    "5,5,5 {u}",
    "1.2.3 {u}",
    "1/0 {u}",
    "0x10 {u}",
)
ABSURD = ("1e300 {u}", "-1e300 {u}", "9{nines} {u}", "1e-300 {u}", "1e999 {u}", "1e25 {u}", "{nines}")
EMPTY = ("", " ", "\t", "\n")
SLIPS = (
    "5 furlong",
    "5 {u} {u}",
    "5 {u} 5",
    "5 {u}/",
    "5 /{u}/{u}",
    "5 imp gal",
    "5 °C/{u}",
    "5 __import__('os')",
    "5 {u};ls",
)
NOT_ABOVE_ZERO = ("0 {u}", "-1 {u}", "-0 {u}", "-1e-9 {u}")
# A dimension that the kind is not.
OTHERS = {
    "rate": ("5 psi", "5 mph", "5 gal", "20 in", "5 oz/acre", "2 lb/acre"),
    "speed": ("5 psi", "5 gal", "5 ft", "5 s"),
    "pressure": ("5 mph", "5 gal", "5 lb", "5 ft"),
    "flow": ("5 psi", "5 gal", "5 mph", "5 oz/min"),
    "length": ("5 psi", "5 gal", "5 ft2", "5 s", "1 gal/acre"),
    "time": ("5 psi", "5 ft", "5 mph"),
    "volume": ("5 psi", "5 ft", "5 oz", "5 lb", "5 gpm", "5 imp gal", "1,500 L"),
    "share": ("5", "500", "-5 %", "5 % %", "5 psi", "900 %"),
    "density": ("9", "0", "-1", "5 psi", "0.1 kg/L", "50 lb/gal", "5 %", "5 oz/gal"),
    "area": ("0 ft2", "60 ft", "60 x 25", "-60 ft x -25 ft", "circle -80 ft", "circle 80 ft x 20 ft", "60 ft x 25 psi",
             "5 gal", "60 ft x", "x 25 ft", "60 ft x 25 ft x 3 ft", "+ 60 ft2"),
    "dose": ("3 pt", "8 oz/acre", "0 pt/acre", "-1 pt/acre", "50", "5 psi", "1.5 lb ai/acre", "5 %/gal", "20 in",
             "9000 gal/acre/acre", "1e9 gal/acre", "1 imp pt/acre"),
    "liquid limit": ("-1 pt/acre", "3 lb/acre", "3 oz/acre", "50", "5 psi", "3 pt"),
    "strength": ("50", "0 %", "150 %", "-5 %", "5 psi", "0 lb/gal"),
    "family": ("soup", "5", "W P"),
    "mix": ("soup", "5", "12.5 %"),
    "scale": ("0 g", "-1 g", "5 kg", "5 psi", "5 mL"),
    "count": ("-5", "1.5", "{nines}", "1e9", "5 psi", "many"),
    "amount": ("0 L", "-2 L", "5 psi", "43 oz", "5 imp gal", "3 ft"),
    "gauge": ("5 mph", "-9999 bar", "5 gal"),
    "counts": ("low", "nan", "-5", "5 psi", "1e300"),
}  # fmt: skip
UNIT = {
    "rate": "gal/acre", "speed": "mph", "pressure": "psi", "flow": "gpm", "length": "ft", "time": "s", "volume": "gal",
    "share": "%", "density": "kg/L", "area": "ft2", "dose": "pt/acre", "liquid limit": "pt/acre", "strength": "%",
    "scale": "g", "amount": "L", "gauge": "psi", "count": "pulses", "counts": "counts",
}  # fmt: skip
MAY_BE_ZERO = ("share", "liquid limit", "gauge", "density", "family", "mix", "count", "counts")


@dataclass(frozen=True)
class Line:
    """A good command line: `places` are (index of a word in it, kind of what stands there)."""

    words: tuple[str, ...]
    places: tuple[tuple[int, str], ...]


def line(*words: str | tuple[str, str]) -> Line:
    """A line from its words; a pair is a value with its kind."""
    flat = tuple(word if isinstance(word, str) else word[0] for word in words)
    return Line(flat, tuple((place, word[1]) for place, word in enumerate(words) if not isinstance(word, str)))


NO_CARDS = ("--cards", "/nonexistent")
LINES = (
    line("plan", "rate", "--rig", US, *NO_CARDS, "--rate", ("1 gal/1000 ft2", "rate"), "--speed", ("2.5 mph", "speed"),
         "--density", ("1.1", "density"), "--band", ("20 in", "length"), "--course", ("200 ft", "length"),
         "--catch-time", ("30 s", "time"), "--step", ("30 in", "length")),
    line("plan", "rate", "--rig", METRIC, *NO_CARDS, "--pressure", ("2 bar", "pressure"),
         "--speed", ("4 km/h", "speed")),
    line("plan", "rate", "--rig", US, *NO_CARDS, "--nozzle-flow", ("0.35 gpm", "flow"), "--rate", ("40 GPA", "rate")),
    line("plan", "tips", "--rig", US, *NO_CARDS, "--rate", ("40 GPA", "rate"), "--speed", ("3 mph", "speed"),
         "--pressure", ("40 psi", "pressure"), "--density", ("1.28 kg/L", "density"), "--band", ("20 in", "length")),
    line("plan", "pump", "--rig", US, *NO_CARDS, "--mix", ("WP", "mix"), "--pressure", ("40 psi", "pressure"),
         "--margin", ("20 %", "share"), "--agitation", ("5 %", "share"), "--density", ("10 lb/gal", "density")),
    line("plan", "refill", "--rig", US, *NO_CARDS, "--volume", ("3 gal", "volume"), "--area", ("60 x 45 ft", "area"),
         "--speed", ("2.5 mph", "speed"), "--pressure", ("40 psi", "pressure")),
    line("mix", "--rig", US, "--runs", "/nonexistent", "--area", ("5000 ft2", "area"),
         "--rate", ("1 gal/1000 ft2", "rate"),
         "--tank", ("20 gal", "volume"), "--scale", ("0.1 g", "scale"), "--measured-rate", ("45 GPA", "rate"),
         "--product", ("3 pt/acre", "dose"), "--kind", ("EC", "family"), "--most", ("4 pt/acre", "liquid limit"),
         "--season", ("8 pt/acre", "liquid limit"), "--used", ("1 pt/acre", "liquid limit"),
         "--product", ("2 lb/acre", "dose"), "--active", ("50 %", "strength")),
    line("mix", "--rig", METRIC, "--runs", "/nonexistent", "--band", ("30 cm", "length"), "--row", ("75 cm", "length"),
         "--area", ("0.5 ha", "area"), "--product", ("480 g/ha", "dose"), "--active", ("480 g/L", "strength")),
    line("calibrate", "meter", "--rig", US, *NO_CARDS, "--no-card", "--catch", ("1043", "count"), ("2.31 L", "amount"),
         ("55 s", "time"), "--catch", "1039", "2.30 L", "55 s"),
    line("calibrate", "wheel", "--rig", US, *NO_CARDS, "--no-card", "--course", ("200 ft", "length"), "--pulses",
         ("508", "count"), "509", "--tape", ("0.5 %", "share")),
    line("calibrate", "course", "--rig", METRIC, *NO_CARDS, "--no-card", "--course", ("60 m", "length"), "--times",
         ("54 s", "time"), "54.5 s"),
    line("calibrate", "pressure", "--rig", US, *NO_CARDS, "--no-card", "--zero", ("104", "counts"), "--point",
         ("40 psi", "gauge"), ("430", "counts"), "--point", "60 psi", "593"),
    line("calibrate", "boom", "--rig", US, *NO_CARDS, "--no-card", "--catch", ("40 psi", "pressure"), ("55 s", "time"),
         ("1210 mL", "amount"), "1200 mL", "1215 mL", "1205 mL", "--speed", ("2.5 mph", "speed")),
)  # fmt: skip


def bad_values(kind: str) -> tuple[str, ...]:
    """Texts that are no value of the kind."""
    texts = (*NO_NUMBER, *ABSURD, *EMPTY, *SLIPS, *OTHERS[kind])
    texts += () if kind in MAY_BE_ZERO else NOT_ABOVE_ZERO
    return tuple(text.format(u=UNIT.get(kind, ""), nines="9" * 330) for text in texts)


def bad_line(draw: random.Random) -> tuple[list[str], str]:
    """A line with one bad value, and a note of what was done."""
    good = draw.choice(LINES)
    place, kind = draw.choice(good.places)
    words = list(good.words)
    words[place] = draw.choice(bad_values(kind))
    # Attached, or argparse would take a negative number for an option.
    if words[place - 1].startswith("--"):
        words[place - 1 : place + 1] = [f"{words[place - 1]}={words[place]}"]
    return words, f"{kind}: {good.words[place]!r} became bad"


def slipped_line(draw: random.Random) -> list[str]:
    """A good line in which a finger slipped: a character more, less or other in one value."""
    good = draw.choice(LINES)
    place, _ = draw.choice(good.places)
    text = good.words[place]
    at = draw.randrange(len(text) + 1)
    slip = draw.choice([*"0123456789.,/x-+%°'\" ²é\u202f", ""])
    words = list(good.words)
    words[place] = text[:at] + slip + text[at + draw.randrange(2) :]
    return words


# Sizes that are something, and that nobody means.
EXTREMES = {
    "rate": ("1e-20 gal/acre", "1 L/ha", "9e5 gal/acre"), "speed": ("1e-9 mph", "0.01 mph", "200 mph"),
    "pressure": ("1e-9 psi", "0.01 psi", "1e3 bar"), "flow": ("1e-12 gpm", "1 mL/min", "90 L/s"),
    "length": ("1e-9 in", "1 mm", "99 km"), "time": ("1e-9 s", "200 h"), "volume": ("1e-9 mL", "1 mL", "900 m3"),
    "area": ("1e-9 m2", "1 m2", "1e4 ha"), "dose": ("1e-9 fl oz/acre", "90 %", "5 kg/m2", "1 mL/ha"),
    "density": ("0.5", "2"), "share": ("0 %", "99 %"), "scale": ("0.001 g", "1 kg"),
}  # fmt: skip


def extreme_line(draw: random.Random) -> list[str]:
    """A line in which about half of the values are extreme."""
    good = draw.choice([line for line in LINES if line.words[0] != "calibrate"])
    words = list(good.words)
    for place, kind in good.places:
        if kind in EXTREMES and draw.random() < 0.5:
            words[place] = draw.choice(EXTREMES[kind])
    return words


def all_bad_lines() -> Iterator[tuple[list[str], str]]:
    """Each bad value in each place once."""
    for good in LINES:
        for place, kind in good.places:
            for text in dict.fromkeys(bad_values(kind)):
                words = list(good.words)
                words[place] = text
                if words[place - 1].startswith("--"):
                    words[place - 1 : place + 1] = [f"{words[place - 1]}={text}"]
                yield words, f"{kind}: {text!r}"
