"""A sprayer in words and figures."""

from __future__ import annotations

from pathlib import Path

import pytest

from host.rig import load_rig
from host.rig.describing import describe

EXAMPLES = Path(__file__).parents[2] / "host/rig/examples"


def figures(name: str) -> dict[str, dict[str, str]]:
    return {title: dict(rows) for title, rows in describe(load_rig(EXAMPLES / name))}


def test_us_units() -> None:
    told = figures("harrow-lea-pull-behind.toml")
    assert told["Boom"] == {
        "Nozzles": "4, 20.0 in apart",
        "Swath": "6.7 ft",  # 4 × 20 in / 12
        "One nozzle at 40.0 psi": "0.350 gal/min",
        "Made for": "15.0 to 60.0 psi",
    }
    # 43 560 ft² to the acre (NIST Handbook 44, Appendix C): 1 gal/1000 ft² is 43.56 gal/acre
    assert told["Target"]["Rate"] == "1.00 gal/1000 ft² (43.6 gal/acre)"
    assert told["Target"]["On target"] == "0.90 to 1.10 gal/1000 ft²"
    assert told["Tank"]["Covers at the target"] == "25,000 ft²"
    # 3.785 411 784 L to the gallon (the same): 450 × 3.785411784
    assert told["Flow meter"]["Factor"] == "1,703.4 pulses/gal"
    # 1.20 m / 10 pulses, 2.54 cm to the inch (the same)
    assert told["Travel"]["Wheel, one pulse"] == f"{12 / 2.54:.3f} in"
    assert told["Spray switch"]["Wired"] == "yes"


def test_metric_units_and_what_is_not_there() -> None:
    told = figures("harrow-lea-walker.toml")
    assert told["Boom"]["Swath"] == "2.0 m"
    assert told["Boom"]["One nozzle at 2.00 bar"] == "0.98 L/min"
    assert told["Target"]["Rate"] == "4.00 L/100 m² (400 L/ha)"
    assert told["Pump"]["Flow at 4.00 bar"] == "15.00 L/min"
    assert told["Flow meter"]["Factor at 25.0 Hz"] == "450.0 pulses/L"
    assert told["Travel"]["No wheel: pace of a timed course"] == f"{60 / 54 * 3.6:.2f} km/h"
    assert told["Spray switch"]["Wired"].startswith("no")


@pytest.mark.parametrize("name", ["harrow-lea-pull-behind.toml", "harrow-lea-walker.toml"])
def test_every_row_has_a_name_and_a_figure(name: str) -> None:
    for _, rows in describe(load_rig(EXAMPLES / name)):
        assert len({label for label, _ in rows}) == len(rows)
        assert all(label and value and "nan" not in value for label, value in rows)
