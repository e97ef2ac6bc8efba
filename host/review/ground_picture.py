"""The ground as a picture: passes side by side in the order walked, coloured by how far off target they are."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from operator import itemgetter

from host.documents.document import GroundPicture, PictureMark, PictureStrip
from host.events import as_meant
from host.pipeline import Pass
from host.review.evenness import Strip
from host.review.fault_sections import words_of
from host.review.hidden_strips import Beside, Length, beside_passes
from host.review.place import place_in_pass, place_of
from host.review.review import Review
from host.rig import Target
from host.units import UNITS, to_user

PICTURE = "ground"
MOST_SMALL = 24  # passes in a small picture
SmallStrip = tuple[tuple[float, float, int | None], ...]
_Band = tuple[float, float, int | None]
_Place = tuple[float, Length]  # metres from the start of what is known, and what lies there
_FAR = 2.0  # times the width of the band from the target: far over, far under


def ground_picture(review: Review, strips: Sequence[Strip], system: str) -> GroundPicture | None:
    """The picture, lengths in `system` units; None without a pass.

    No position is measured across the passes: each is drawn turned about from the one before. Ground that was probably
    sprayed unseen is drawn as not known, as long as it probably was; ground that got nothing as far under.
    """
    if not review.passes:
        return None
    marks = list(_marks(review))
    drawn: list[PictureStrip] = []
    for number, bands, places in _rows(review, strips):
        here = tuple(
            PictureMark(_shown(_moved(at, places), system), sign, words, _shown(told, system))
            for of_pass, at, told, sign, words in marks
            if of_pass == number
        )
        shown = tuple((_shown(begin, system), _shown(end, system), level) for begin, end, level in bands)
        drawn.append(PictureStrip(number, shown[-1][1], shown, here))
    return GroundPicture(
        PICTURE,
        "What the ground got",
        UNITS[system]["length"].symbol,
        _shown(review.rig.swath_m, system),
        tuple(drawn),
    )


def small_ground(review: Review) -> tuple[SmallStrip, ...]:
    """The first rows of the same, each as (from, to, level) in parts of the longest; without signs."""
    if not review.passes:
        return ()
    rows = [bands for _, bands, _ in _rows(review, review.strips)][:MOST_SMALL]
    longest = max(bands[-1][1] for bands in rows)
    if not longest > 0:
        return ()
    return tuple(
        tuple((round(begin / longest, 3), round(end / longest, 3), level) for begin, end, level in bands)
        for bands in rows
    )


def _rows(review: Review, strips: Sequence[Strip]) -> Iterator[tuple[int | None, list[_Band], list[_Place]]]:
    """In the order walked: number of the pass, its bands in metres, and what was put into it where.

    Without a number: whole passes of which nothing is known, or which got nothing.
    """
    beside = beside_passes(review.track, review.passes, review.unassigned, review.known)
    for a_pass, strip, one in zip(review.passes, strips, beside, strict=False):
        yield from _whole(one)
        lead, tail = [(0.0, length) for length in one.lead], [(a_pass.distance_m, length) for length in one.tail]
        places = [*lead, *sorted(one.inside, key=itemgetter(0)), *tail]
        yield a_pass.number, _with_gaps(list(_levels(review.rig.target, a_pass, strip)), places), places
    yield from _whole(beside[-1])


def _whole(beside: Beside) -> Iterator[tuple[None, list[_Band], list[_Place]]]:
    for length, level in beside.before:
        yield None, [(0.0, length, level)], []


def _with_gaps(bands: list[_Band], places: Sequence[_Place]) -> list[_Band]:
    """`bands` moved apart at `places` by what is not in them."""
    for place, (length, level) in reversed(places):
        before = [(begin, min(end, place), one) for begin, end, one in bands if begin < place]
        after = [(max(begin, place) + length, end + length, one) for begin, end, one in bands if end > place]
        bands = [*before, (place, place + length, level), *after]
    joined = bands[:1]
    for begin, end, level in bands[1:]:
        if joined[-1][2] == level:
            joined[-1] = (joined[-1][0], end, level)
        else:
            joined.append((begin, end, level))
    return joined


def _moved(at: float, places: Sequence[_Place]) -> float:
    """A place in what is known of a pass, moved by what was put in ahead of it."""
    return at + math.fsum(length for place, (length, _) in places if place < at or place == 0.0)


def _shown(metres: float, system: str) -> float:
    return float(to_user(metres, "length", system))


def _levels(target: Target, a_pass: Pass, strip: Strip) -> Iterator[_Band]:
    """Sections of one level, in metres from the start of the pass: -2 far under … 2 far over, None not known."""
    edges, rates = strip.edges_m.tolist(), strip.rate_m3_m2.tolist()
    if not rates:
        yield 0.0, a_pass.distance_m, None
        return
    if edges[0] > 0:
        yield 0.0, edges[0], None
    for begin, end, rate in zip(edges[:-1], edges[1:], rates, strict=True):
        yield begin, end, _level(rate, target)


def _level(rate_m3_m2: float, target: Target) -> int | None:
    if not math.isfinite(rate_m3_m2):
        return None
    if rate_m3_m2 > target.high_m3_m2:
        return 2 if rate_m3_m2 - target.rate_m3_m2 > _FAR * (target.high_m3_m2 - target.rate_m3_m2) else 1
    if rate_m3_m2 < target.low_m3_m2:
        return -2 if target.rate_m3_m2 - rate_m3_m2 > _FAR * (target.rate_m3_m2 - target.low_m3_m2) else -1
    return 0


def _marks(review: Review) -> Iterator[tuple[int, float, float, str, str]]:
    """Faults, spots sprayed standing still, and what people marked.

    Number of the pass, metres of known ground and metres walked from its start, sign, words.
    """
    track, passes = review.track, review.passes
    events = [event for event in as_meant(review.run.events) if event.kind == "mark"]
    signs = [(fault.began_s, str(fault.number), words_of(fault, review)) for fault in review.faults]
    signs += [(event.host_s, "◆", str(event.detail.get("text") or "mark")) for event in events]
    for at_s, sign, words in signs:
        place = place_of(track, passes, at_s)
        if place is not None:
            yield place[0], place_in_pass(track, passes[place[0] - 1], at_s), place[1], sign, words
    for spot in review.spots:
        if spot.number is not None and spot.into_pass_m is not None:
            yield spot.number, spot.into_pass_m, spot.into_pass_m, "●", "standing still"
