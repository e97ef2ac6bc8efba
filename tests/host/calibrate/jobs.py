"""Calibrations for the tests: a rig, its cards, a clock that does as it is told."""

from importlib.resources import files

from host.calibrate.cards import apply_cards
from host.calibrate.kinds.kind import Job
from host.entries import Entries
from host.errors import UserError
from host.rig import load_rig
from tests.host.calibrate.clocks import Clock
from tests.host.calibrate.rigs import rig as test_rig

EXAMPLES = files("host.rig").joinpath("examples")
WALKER = load_rig(str(EXAMPLES / "harrow-lea-walker.toml"))


def no_run(name):
    raise UserError(f"there is no run {name}: give another.")


def start(kind, rig=None, cards=(), clock=None, **settings):
    """A calibration of a kind with its settings."""
    rig = rig or test_rig()
    session = kind.start(Job(apply_cards(rig, cards), tuple(cards), clock or Clock(), no_run))
    entries = Entries(settings)
    session.settle(entries)
    entries.check()
    return session


def save(session, way, **typed):
    """One point that is typed in; the message."""
    return session.save(way, Entries(typed))
