import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.errors import UserError
from host.plan.area import parse_area

FOOT = 0.3048


@pytest.mark.parametrize(
    ("text", "square_feet", "within"),
    [
        ("60 ft x 25 ft", 1500, 1e-6),
        ("circle 80 ft", 5024, 2.6),  # printed with π = 3.14; true 5026.5
        ("triangle 30 ft x 26 ft", 390, 1e-6),
    ],
)
def test_printed_areas(text, square_feet, within):
    """Oklahoma State University-Oklahoma City, "Calibrating Application Equipment", 2013."""
    assert parse_area(text, "--area") / FOOT**2 == pytest.approx(square_feet, abs=within)


@pytest.mark.parametrize(
    "text",
    [
        "1500 ft2", "1,500 sq ft", "60 ft × 25 ft", "60 ft X 25 ft", "60 x 25 ft", "60x25 ft", "60' x 25'", "60'x25'",
        "60ft x 25ft", "60 by 25 ft", "20 yd × 25 ft", "60 * 25 ft", "RECTANGLE 60 x 25 ft", "720 in x 25 ft",
        "30 x 25 ft + 30 x 25 ft", "1000 ft2 + 20 x 25 ft",
    ],
)  # fmt: skip
def test_areas_as_people_write_them(text):
    assert parse_area(text, "--area") / FOOT**2 == pytest.approx(1500)


def test_half_an_acre_and_decimal_commas():
    assert parse_area("1/2 acre", "--area") == pytest.approx(2023.4282112)
    assert parse_area("2,5 ha", "--area") == pytest.approx(25_000)
    assert parse_area("CIRCLE 10 m", "--area") == pytest.approx(math.pi * 25)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("circle 80 ft x 20 ft", "a circle has one length"),
        ("60 ft", "not an area"),
        ("60 psi x 20 ft", "not a length"),
        ("0 ft2", "give one above zero"),
        ("-60 ft x -25 ft", "give one above zero"),
        ("circle -80 ft", "give one above zero"),
        ("60 x 25", "without a unit"),
        ("60 ft x 25 ft x 3 ft", "not a unit"),
        ("60 ft x", "not a unit"),
        ("", "--area is empty"),
        ("  ", "--area is empty"),
        ("60 x 25 ft +", "give an area such as"),
        ("1e300 ft x 1 ft", "beyond any sensible size"),
    ],
)
def test_what_is_no_area(text, says):
    with pytest.raises(UserError, match=r"^--area") as caught:
        parse_area(text, "--area")
    assert says in str(caught.value)


@given(st.text(max_size=40))
def test_no_text_breaks_the_reader(text):
    try:
        area = parse_area(text, "--area")
    except UserError:
        return
    assert math.isfinite(area) and area > 0
