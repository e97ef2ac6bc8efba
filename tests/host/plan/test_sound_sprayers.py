"""The sprayers that come with Swardflow pass its own plan of the pump, as a keeper's first look would have it."""

from importlib.resources import files

import pytest

from tests.host.plan.asking import ask

RIGS = [
    str(path)
    for folder in (files("host.rig") / "examples", files("host.simulate") / "scenarios" / "rigs")
    for path in sorted(folder.iterdir(), key=str)
    if path.name.endswith(".toml")
]


@pytest.mark.parametrize("rig", RIGS, ids=lambda path: path.rpartition("/")[2])
@pytest.mark.parametrize("mix", ["suspension", "solution"])
def test_its_pump_is_big_enough(rig, mix):
    """At the highest pressure of its tips, with agitation and 20 % to spare (Grisso, Virginia Coop. Ext. 442-452)."""
    said = ask("plan", "pump", "--rig", rig, "--mix", mix, "--cards", "/nonexistent", "--json")
    assert said.code == 0, said.out
    assert said.json["verdict"] == "enough"
    assert said.json["pump_gal_per_min" if "pump_gal_per_min" in said.json else "pump_L_per_min"] > 0


def test_all_of_them_are_looked_at():
    assert len(RIGS) >= 7
