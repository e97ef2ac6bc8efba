"""Commands given rig files and calibration cards in which something is not as it should be."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime
from typing import Any

import tomli_w
from hypothesis import strategies as st

from host.calibrate.cards import make_card, slug
from host.simulate.scenario import PACKAGED
from tests.host.damage.hostile import TOML_VALUES, distorted, few_and_many, one_sentence_or_an_answer, scratch_folder
from tests.host.damage.run_files import sound_run

HOME = scratch_folder()
SOUND_RIG = PACKAGED / "rigs" / "bowling-green.toml"
RIG = HOME / "rig.toml"
RUN = HOME / "good.sward"
CARDS = HOME / "cards"
CARD = CARDS / slug("Harrow Lea bowling green boom") / "2026-05-02T090000-any.toml"
MEASURED = ["--catch", "1043", "2.31 L", "55 s", "--catch", "1050", "2.33 L", "55 s", "--no-card", "--cards", HOME]
RIG_COMMANDS = {
    "pump": ["plan", "pump", "--rig", RIG, "--mix", "suspension"],
    "rate": ["plan", "rate", "--rig", RIG, "--speed", "2.5 mph", "--all"],
    "mix": ["mix", "--rig", RIG, "--product", "1.5 fl oz/1000 ft2", "--area", "60 ft x 25 ft"],
    "meter": ["calibrate", "meter", "--rig", RIG, *MEASURED],
    "review": ["review", RUN, "--rig", RIG, "--no-faults"],
    "review in metric": ["review", RUN, "--rig", RIG, "--units", "metric", "--json"],
}
CARD_COMMANDS = {
    "cards": ["calibrate", "cards", "--rig", SOUND_RIG, "--cards", CARDS],
    "cards for machines": ["calibrate", "cards", "--rig", SOUND_RIG, "--cards", CARDS, "--json"],
    "rate": ["plan", "rate", "--rig", SOUND_RIG, "--cards", CARDS, "--speed", "2.5 mph"],
    "compare": ["compare", RUN, "--cards", CARDS],
    "review": ["review", RUN, "--recalibrated", "--cards", CARDS],
}


def setup_module() -> None:
    sound_run(RUN)


def _rig(tree: dict[str, Any], name: str) -> None:
    RIG.write_text(tomli_w.dumps(tree), encoding="utf-8")
    one_sentence_or_an_answer(RIG_COMMANDS[name])


def _card(tree: dict[str, Any], name: str) -> None:
    CARD.parent.mkdir(parents=True, exist_ok=True)
    CARD.write_text(tomli_w.dumps(tree), encoding="utf-8")
    one_sentence_or_an_answer(CARD_COMMANDS[name])


def _boom_card() -> dict[str, Any]:
    """A catch test of four nozzles, made by the command itself."""
    catch = []
    for pressure, share in (("40 psi", 1.0), ("30 psi", 0.866)):  # flow goes with the root of the pressure
        amounts = [f"{amount * share:.0f} mL" for amount in (1050, 1046, 1058, 1041)]
        catch += ["--catch", pressure, "55 s", *amounts]
    one_sentence_or_an_answer(["calibrate", "boom", "--rig", SOUND_RIG, "--cards", CARDS, *catch])
    (made,) = CARD.parent.glob("*-boom.toml")
    text = made.read_text(encoding="utf-8")
    made.unlink()
    return tomllib.loads(text) | {"made": datetime(2026, 5, 2, tzinfo=UTC)}


def _cards() -> st.SearchStrategy[dict[str, Any]]:
    section = {"factor": "450 pulses/L", "uncertainty": "0.5 %"}
    meter = make_card("meter", "Harrow Lea bowling green boom", datetime(2026, 5, 2, tzinfo=UTC), section, {"n": 6})
    trees = st.sampled_from([_boom_card(), tomllib.loads(meter.toml)])
    return trees.flatmap(lambda tree: distorted(tree, TOML_VALUES))


def _rigs() -> st.SearchStrategy[dict[str, Any]]:
    return distorted(tomllib.loads(SOUND_RIG.read_text(encoding="utf-8")), TOML_VALUES)


test_rig, test_rig_many = few_and_many(_rig, _rigs(), st.sampled_from(sorted(RIG_COMMANDS)))
test_card, test_card_many = few_and_many(_card, _cards(), st.sampled_from(sorted(CARD_COMMANDS)))
