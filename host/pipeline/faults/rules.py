"""Runs all rules of the registry side by side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from host.pipeline.faults.causes import RULES, Rule
from host.pipeline.faults.coefficient import Boom
from host.pipeline.faults.debounce import Debounce
from host.pipeline.faults.inputs import Scene
from host.pipeline.faults.signs import SignReader, Signs
from host.pipeline.faults.timing import Timing
from host.rig import Rig


@dataclass(frozen=True)
class Turn:
    """A rule goes on or off in frame `place`; `since_us` is when its condition began, on the board's clock."""

    place: int
    rule: Rule
    on: bool
    since_us: int


class Rules:
    """Each rule with its debouncing."""

    def __init__(self, rig: Rig, timing: Timing) -> None:
        self._signs = SignReader(rig, timing)
        self._debounced = {name: Debounce(rule.on_s, rule.off_s) for name, rule in RULES.items() if not rule.at_once}

    def push(self, scene: Scene, boom: Boom) -> tuple[list[Turn], Signs]:
        """What turned on or off in these frames, of which there is at least one, in order, and what it was read off;
        what is known only once it is over only turns on."""
        signs = self._signs.push(scene, boom)
        turns = [turn for rule in RULES.values() for turn in self._turns(rule, signs, scene)]
        return sorted(turns, key=lambda turn: (turn.place, turn.rule.name, turn.on)), signs

    def _turns(self, rule: Rule, signs: Signs, scene: Scene) -> list[Turn]:
        board_us, condition = scene.counts.board_us, rule.condition(signs)
        if rule.at_once:
            began_us = board_us - scene.counts.step_us
            return [Turn(int(place), rule, True, int(began_us[place])) for place in np.flatnonzero(condition)]
        decided = rule.decided(signs) if rule.decided else None
        on, off, since = self._debounced[rule.name].push(board_us, condition, decided)
        return [
            *(Turn(int(place), rule, True, int(since[place])) for place in on),
            *(Turn(int(place), rule, False, int(board_us[place])) for place in off),
        ]
