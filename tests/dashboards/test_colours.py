"""The colours that all pages are drawn with, held against WCAG 2.2 (W3C Recommendation, 2024).

Contrast is (L1 + 0.05) / (L2 + 0.05) with the relative luminance of sRGB; 7:1 is criterion 1.4.6, 3:1 for lines and
signs criterion 1.4.11.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ASSETS = Path(__file__).parents[2] / "dashboards/assets"
FILLED = ("--alarm", "--over", "--under", "--sure")
TEXT = ("--ink", "--quiet", "--faded", "--sure", "--over", "--under", "--one", "--other", "--third")


def luminance(colour: str) -> float:
    digits = colour.removeprefix("#")
    whole = digits if len(digits) == 6 else "".join(2 * digit for digit in digits)
    parts = [int(whole[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def colours() -> dict[str, dict[str, str]]:
    """Custom properties that are colours, by "day" and "dark"."""
    style = (ASSETS / "frame.css").read_text(encoding="utf-8")
    day = re.search(r":root \{(.*?)\n\}", style, re.S)
    dark = re.search(r":root\[data-light=\"dark\"\] \{(.*?)\n\}", style, re.S)
    assert day and dark
    return {
        name: dict(re.findall(r"(--[a-z-]+):\s*(#[0-9a-f]{3,6});", part[1]))
        for name, part in (("day", day), ("dark", dark))
    }


def test_the_measure_itself() -> None:
    assert contrast("#000", "#ffffff") == pytest.approx(21.0)  # the largest there is: WCAG 2.2, contrast ratio, note 1
    assert contrast("#777777", "#fff") == pytest.approx(4.48, abs=0.005)  # Understanding criterion 1.4.3: below 4.5
    assert set(colours()["day"]) == set(colours()["dark"]) >= {*TEXT, *FILLED}


@pytest.mark.parametrize("light", ["day", "dark"])
def test_contrasts(light: str) -> None:
    colour = colours()[light]
    for name in TEXT:
        assert contrast(colour[name], colour["--ground"]) >= 7.0, name
    for name in FILLED:
        assert contrast(colour["--on-filled"], colour[name]) >= 7.0, name
    for name in ("--ink", "--quiet", "--over", "--sure", "--under"):
        assert contrast(colour[name], colour["--raised"]) >= 7.0, name
    for name in ("--rule", "--hair"):
        assert contrast(colour[name], colour["--ground"]) >= 3.0, name


@pytest.mark.parametrize("style", sorted(ASSETS.glob("*.css")), ids=lambda path: path.name)
def test_no_style_has_colours_of_its_own(style: Path) -> None:
    """But for paper, which is white, and the veil behind a dialog."""
    text = re.sub(r"/\*.*?\*/", "", style.read_text(encoding="utf-8"), flags=re.S)
    text = re.sub(r"@media print \{.*\n\}", "", text, flags=re.S)
    if style.name == "frame.css":
        text = text[text.index("* {") :]
    assert re.findall(r":[^;{}]*(#[0-9a-fA-F]{3,8})\b", text) == []
