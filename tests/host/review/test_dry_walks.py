"""Without a switch, a long walk on which the meter counted nothing is asked about."""

from pathlib import Path

import numpy as np
import pytest

from host.frames import Event
from host.journal import RunFile
from host.review.dry_walks import dry_walk_messages
from host.review.review import review_of
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames

NO_SWITCH = rig_from_toml(RIG.replace("spray_switch = true", "spray_switch = false"))
WET, TURN, DRY = (20, 40.0, 10.0), (6, 0.0, 5.0), (40, 0.0, 10.0)


def said_of(*parts, rig=NO_SWITCH, events=()):
    flow, wheel = (np.concatenate([np.full(round(10 * part[0]), part[of]) for part in parts]) for of in (1, 2))
    run = RunFile(Path("run.sward"), frames=made_frames(flow, wheel, flow > 0), events=[IDENTITY, *events])
    return list(dry_walk_messages(review_of(run, rig), "metric"))


def test_passes_walked_dry_at_the_end_are_asked_about():
    (said,) = said_of(WET, TURN, WET, TURN, DRY)
    assert said.startswith("From +46 s on 43.0 m were walked and nothing went through the meter.")
    assert "If the spray was on, that ground got nothing" in said


@pytest.mark.parametrize("parts", [(WET, TURN, WET, TURN, WET), (WET, TURN, WET, TURN), (WET, DRY)])
def test_turns_are_not_nor_is_a_first_pass(parts):
    assert said_of(*parts) == []


def test_a_walk_to_the_tap_is_not():
    refill = Event(60.0, 600, "refill", {})
    assert said_of(WET, TURN, WET, DRY, WET, events=[refill]) == []


def test_with_a_switch_it_is_known():
    assert said_of(WET, TURN, WET, TURN, DRY, rig=rig_from_toml(RIG)) == []
