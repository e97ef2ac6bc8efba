"""The ground as a picture: passes side by side in the order walked, coloured by how far off target they are."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from host.documents.document import GroundPicture, PictureMark, PictureStrip
from host.events import as_meant
from host.pipeline import Pass
from host.review.evenness import Strip
from host.review.hidden_strips import HiddenOfPass, hidden_of_passes
from host.review.place import place_in_pass, place_of
from host.review.review import Review
from host.review.totals import known_of
from host.rig import Target
from host.units import UNITS, to_user

PICTURE = "ground"
MOST_SMALL = 24  # passes in a small picture
SmallStrip = tuple[tuple[float, float, int | None], ...]
_Band = tuple[float, float, int | None]
_FAR = 2.0  # times the width of the band from the target: far over, far under


def ground_picture(review: Review, strips: Sequence[Strip], system: str) -> GroundPicture | None:
    """The picture, lengths in `system` units; None without a pass.

    No position is measured across the passes: each is drawn turned about from the one before. Ground that was probably
    sprayed unseen is drawn as not known, as long as it probably was.
    """
    if not review.passes:
        return None
    marks = list(_marks(review))
    hidden = hidden_of_passes(review.track, review.passes, review.unassigned, known_of(review.totals, review.rig))
    drawn: list[PictureStrip] = []
    for a_pass, strip, unseen in zip(review.passes, strips, hidden, strict=False):
        drawn += _unseen(unseen, system)
        places = sorted([(0.0, unseen.lead_m), *unseen.inside, (a_pass.distance_m, unseen.tail_m)])
        bands = _with_gaps(list(_levels(review.rig.target, a_pass, strip)), places)
        here = tuple(
            PictureMark(_shown(_moved(at, places), system), sign, words, _shown(told, system))
            for number, at, told, sign, words in marks
            if number == a_pass.number
        )
        shown = tuple((_shown(begin, system), _shown(end, system), level) for begin, end, level in bands)
        drawn.append(PictureStrip(a_pass.number, shown[-1][1], shown, here))
    drawn += _unseen(hidden[-1], system)
    return GroundPicture(
        PICTURE,
        "What the ground got",
        UNITS[system]["length"].symbol,
        _shown(review.rig.swath_m, system),
        tuple(drawn),
    )


def small_ground(review: Review) -> tuple[SmallStrip, ...]:
    """The first passes, each as (from, to, level) in parts of the longest; without signs and what was not seen."""
    passes, strips = review.passes[:MOST_SMALL], review.strips[:MOST_SMALL]
    longest = max((one.distance_m for one in passes), default=0.0)
    if not longest > 0:
        return ()
    return tuple(
        tuple(
            (round(begin / longest, 3), round(end / longest, 3), level)
            for begin, end, level in _with_gaps(list(_levels(review.rig.target, a_pass, strip)), [])
        )
        for a_pass, strip in zip(passes, strips, strict=True)
    )


def _unseen(hidden: HiddenOfPass, system: str) -> list[PictureStrip]:
    """Whole passes of which nothing is known; they have no number."""
    lengths = [_shown(length, system) for length in hidden.before]
    return [PictureStrip(None, length, ((0.0, length, None),)) for length in lengths]


def _with_gaps(bands: list[_Band], places: Sequence[tuple[float, float]]) -> list[_Band]:
    """`bands` moved apart at `places` (metres from the start, length) by ground that is not known."""
    for place, length in reversed(places):
        if length <= 0.0:
            continue
        before = [(begin, min(end, place), level) for begin, end, level in bands if begin < place]
        after = [(max(begin, place) + length, end + length, level) for begin, end, level in bands if end > place]
        bands = [*before, (place, place + length, None), *after]
    joined = bands[:1]
    for begin, end, level in bands[1:]:
        if joined[-1][2] == level:
            joined[-1] = (joined[-1][0], end, level)
        else:
            joined.append((begin, end, level))
    return joined


def _moved(at: float, places: Sequence[tuple[float, float]]) -> float:
    """A place in what is known of a pass, moved by what is not known ahead of it."""
    return at + math.fsum(length for place, length in places[:-1] if place <= at)


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
    signs = [(fault.began_s, str(fault.number), fault.words) for fault in review.faults]
    signs += [(event.host_s, "◆", str(event.detail.get("text") or "mark")) for event in events]
    for at_s, sign, words in signs:
        place = place_of(track, passes, at_s)
        if place is not None:
            yield place[0], place_in_pass(track, passes[place[0] - 1], at_s), place[1], sign, words
    for spot in review.spots:
        if spot.number is not None and spot.into_pass_m is not None:
            yield spot.number, spot.into_pass_m, spot.into_pass_m, "●", "standing still"
