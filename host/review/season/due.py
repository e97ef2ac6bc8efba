"""Which calibration is due: by what has moved since its last card, against what that card claims, and by its age."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from host.calibrate.boom import WORN_OVER
from host.documents.document import quantity
from host.documents.words import percent
from host.review.card_marks import CardMark
from host.review.digest import Digest
from host.review.season.candidates import LEAST_BESIDE
from host.review.season.changes import METER, NOZZLES, WRONG_CARD, ZERO, shapes
from host.review.season.effects import of_flow
from host.review.season.findings import EXPANDED, Named
from host.review.season.observations import BOOM, CATCH, METER_CARD, ZERO_CARD, ZERO_SCATTER, time_of
from host.review.season.search import Explained
from host.rig.model import DAY_TO_DAY

_OLD_DAYS = 365.0  # each season anew: common practice
_FAR_DAYS = 730.0  # no drift is believed for longer
_WRONG = 4.0  # standard uncertainties between two cards that no luck makes
_CATCH_CLAIMS = 0.05  # ± of a catch test where the season has none


@dataclass(frozen=True)
class _Kind:
    """A kind of calibration: what it is called, what to do, and whose changes it takes up."""

    kind: str
    name: str
    do: str
    cause: str


_METER = _Kind("meter", "meter's card", "calibrate the meter", METER)
_BOOM = _Kind("boom", "catch test", "do a catch test", NOZZLES)
_PRESSURE = _Kind("pressure", "transducer's card", "calibrate the transducer", ZERO)
_KINDS = (_METER, _BOOM, _PRESSURE)
# Where cards of a kind are seen, and what moves between two of them without anything having happened (as seen there).
_SAID_BY = {"meter": (METER_CARD, DAY_TO_DAY), "boom": (CATCH, DAY_TO_DAY), "pressure": (ZERO_CARD, ZERO_SCATTER)}
_DECIDING = (_BOOM, _METER, _PRESSURE)  # the first of them whose cause is a suspect


@dataclass(frozen=True)
class Due:
    """What to calibrate and when, in short, and of each why."""

    do: tuple[str, ...]
    why: tuple[str, ...]

    @property
    def messages(self) -> tuple[str, ...]:
        """Each with its reason."""
        return tuple(f"{do}: {why}" for do, why in zip(self.do, self.why, strict=True))

    @property
    def text(self) -> str:
        """All of it in one message."""
        return "; ".join(self.messages)


def due(found: Explained, changes: Sequence[Named], cards: Sequence[CardMark], runs: Sequence[Digest]) -> Due:
    """What to calibrate, when and why."""
    if not any(run.steady for run in runs):
        return Due(("not known",), ("no run with steady spraying and a known pressure",))
    told = [words for kind in _KINDS for words in (_of_kind(kind, found, changes, cards, runs),) if words]
    if told:
        return Due(tuple(do for do, _ in told), tuple(why for _, why in told))
    if sum(run.steady is not None for run in runs) < 2 * LEAST_BESIDE:
        return Due(("not yet",), ("fewer than six runs with steady spraying: too few to see a change",))
    newest = [(kind.name, card.date) for kind in _KINDS for card in (_last(kind, cards),) if card]
    known = f" ({', '.join(f'{name} of {day}' for name, day in newest)})" if newest else ""
    since = f"since the last calibrations{known}" if newest else "since the first run"
    return Due(
        ("not yet",), (f"nothing has moved {since} by more than {'they claim' if newest else 'the rig file claims'}",)
    )


def _last(kind: _Kind, cards: Sequence[CardMark]) -> CardMark | None:
    return next((card for card in reversed(cards) if card.kind == kind.kind), None)


def _of_kind(
    kind: _Kind, found: Explained, changes: Sequence[Named], cards: Sequence[CardMark], runs: Sequence[Digest]
) -> tuple[str, str] | None:
    """What to do and why, of one kind; None when it is not due."""
    card = _last(kind, cards)
    newest, last_run = time_of(runs[-1].started), runs[-1]
    if words := _contradicted(kind, found, cards, last_run.units):
        return f"{kind.do} now", words
    since = time_of(card.made) if card else -math.inf
    claimed, known = _claimed(kind, cards, last_run), "it is"
    moved = _moved_since(kind, found, changes, since)
    if moved.maybe_meter and _claimed(_METER, cards, last_run) < claimed:  # a catch test decides whose it is
        claimed, known = _claimed(_METER, cards, last_run), "the meter is"
    behind = f"since the {kind.name} of {card.date}" if card else "since the first run"
    bound = f"the {_size(kind, claimed, last_run.units)} to which {known} known"
    if abs(moved.size) > max(claimed, EXPANDED * moved.u):
        worn = kind.kind == "boom" and min(moved.wear, moved.size) > math.log1p(WORN_OVER)
        also = f"; replace the nozzles at {percent(WORN_OVER)}" if worn else ""
        much = _size(kind, moved.size, last_run.units)
        return f"{kind.do} now", f"{moved.first} by {much} {behind}: more than {bound}{also}"
    days = (claimed - abs(moved.size)) / abs(moved.rate) if moved.rate * moved.size > 0 else math.inf
    if abs(moved.size) > EXPANDED * moved.u and days < _FAR_DAYS:
        when = (datetime.fromisoformat(last_run.started) + timedelta(days=days)).date().isoformat()
        return f"{kind.do} about {when}", f"then it will have drifted by {bound}"
    if card and newest - since > _OLD_DAYS:
        return f"{kind.do} now", f"the {kind.name} is of {card.date}, more than a year old"
    return None


def _contradicted(kind: _Kind, found: Explained, cards: Sequence[CardMark], units: str) -> str:
    """Why one of the kind's last two cards is wrong: they differ, and nothing that the runs show explains it."""
    block, scatter = _SAID_BY[kind.kind]
    own = [card for card in cards if card.kind == kind.kind]
    if len(own) < 2 or found.seen.count(block) != len(own):
        return ""
    here = found.seen.block == block
    if min(found.seen.on_both_sides(BOOM, int(found.seen.item[here][-1]))) < LEAST_BESIDE:
        return ""  # too few runs to show it
    as_said = replace(found, changes=tuple(one for one in found.changes if one.cause != WRONG_CARD))
    (before, after), us = as_said.residuals()[here][-2:], found.seen.u[here][-2:]
    apart = float(after - before)
    if abs(apart) <= _WRONG * math.hypot(*us, scatter):
        return ""
    old, new = own[-2:]
    size = _size(kind, apart * (1e3 if block == ZERO_CARD else 1.0), units)
    says = f"says {size} {'more' if apart > 0 else 'less'} than that of {old.date}"
    return f"the {kind.name} of {new.date} {says}, and the runs show no such change: one of the two is wrong"


def _claimed(kind: _Kind, cards: Sequence[CardMark], run: Digest) -> float:
    """± of the kind's last card, or what is taken for it without one."""
    card = _last(kind, cards)
    return (
        card.claimed
        if card
        else {"meter": 2.0 * run.meter_u, "boom": _CATCH_CLAIMS, "pressure": 2.0 * run.pressure_u_pa}[kind.kind]
    )


@dataclass(frozen=True)
class _Moved:
    """How far a cause has moved, its u, its rate at the end (1/day), the wear in it, what moved first, and whether it
    may have been the meter as well.
    """

    size: float
    u: float
    rate: float
    wear: float
    first: str
    maybe_meter: bool


def _moved_since(kind: _Kind, found: Explained, changes: Sequence[Named], since: float) -> _Moved:
    """What a cause has done since a time.

    A change whose cause is not known counts for the calibration that decides: between nozzles and all others the catch
    test, else that of the meter.
    """
    times = found.seen.in_use
    place = int(np.searchsorted(found.seen.times, since, side="right")) - 1
    moved = variance = rate = wear = 0.0
    first, maybe_meter = "", False
    for one in changes:
        if one.weighed is None:
            continue
        suspects, change = one.weighed.suspects, one.effect.change
        if next((one.cause for one in _DECIDING if one.cause in suspects), "") != kind.cause:
            continue
        share = shapes([change], times)[:, 0]
        left = float(share[-1] - (share[place] if place >= 0 else 0.0))
        if abs(left) < 1e-6:
            continue
        in_pa = kind.kind == "pressure" and change.cause == ZERO
        size, u = (one.effect.size * 1e3, one.effect.u * 1e3) if in_pa else of_flow(found, one.effect)
        moved, variance = moved + left * size, variance + (left * u) ** 2
        first = first or f"{' or '.join(sorted(suspects))} changed from {one.first.date} on"
        maybe_meter = maybe_meter or (len(suspects) > 1 and METER in suspects)
        wear += left * size if change.power else 0.0
        if change.power and not change.back and change.last == len(times) - 1:
            rate += size / max(float(times[change.last] - times[change.first]), 1.0)
    return _Moved(moved, math.sqrt(variance), rate, wear, first, maybe_meter)


def _size(kind: _Kind, size: float, units: str) -> str:
    if kind.kind == "pressure":
        return quantity(abs(size), "pressure", units).text
    return percent(abs(math.expm1(size)), 1)
