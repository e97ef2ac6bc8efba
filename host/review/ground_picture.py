"""The ground as a picture: passes side by side in the order walked, coloured by how far off target they are."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from host.documents.document import GroundPicture, PictureMark, PictureStrip
from host.events import as_meant
from host.pipeline import Pass
from host.review.evenness import Strip
from host.review.place import place_in_pass, place_of
from host.review.review import Review
from host.rig import Target
from host.units import UNITS, to_user

PICTURE = "ground"
_FAR = 2.0  # times the width of the band from the target: far over, far under


def ground_picture(review: Review, strips: Sequence[Strip], system: str) -> GroundPicture | None:
    """The picture, lengths in `system` units; None without a pass.

    No position is measured across the passes: each is drawn turned about from the one before.
    """
    if not review.passes:
        return None
    marks = list(_marks(review))
    drawn = []
    for a_pass, strip in zip(review.passes, strips, strict=True):
        here = tuple(
            PictureMark(_shown(place[1], system), sign, words)
            for place, sign, words in marks
            if place is not None and place[0] == a_pass.number
        )
        bands = tuple(
            (_shown(begin, system), _shown(end, system), level) for begin, end, level in _levels(review, a_pass, strip)
        )
        drawn.append(PictureStrip(a_pass.number, _shown(a_pass.distance_m, system), bands, here))
    return GroundPicture(
        PICTURE,
        "What the ground got",
        UNITS[system]["length"].symbol,
        _shown(review.rig.swath_m, system),
        tuple(drawn),
    )


def _shown(metres: float, system: str) -> float:
    return float(to_user(metres, "length", system))


def _levels(review: Review, a_pass: Pass, strip: Strip) -> Iterator[tuple[float, float, int | None]]:
    """Sections of one level, in metres from the start of the pass: -2 far under … 2 far over, None not known."""
    edges, rates = strip.edges_m.tolist(), strip.rate_m3_m2.tolist()
    if not rates:
        yield 0.0, a_pass.distance_m, None
        return
    unknown = list(_unknown(review, a_pass))
    found: list[tuple[float, float, int | None]] = [(0.0, edges[0], None)] if edges[0] > 0 else []
    for begin, end, rate in zip(edges[:-1], edges[1:], rates, strict=True):
        covered = any(begin < last and end > first for first, last in unknown)
        level = None if covered else _level(rate, review.rig.target)
        if found and found[-1][2] == level:
            found[-1] = (found[-1][0], end, level)
        else:
            found.append((begin, end, level))
    yield from found


def _level(rate_m3_m2: float, target: Target) -> int | None:
    if not math.isfinite(rate_m3_m2):
        return None
    if rate_m3_m2 > target.high_m3_m2:
        return 2 if rate_m3_m2 - target.rate_m3_m2 > _FAR * (target.high_m3_m2 - target.rate_m3_m2) else 1
    if rate_m3_m2 < target.low_m3_m2:
        return -2 if target.rate_m3_m2 - rate_m3_m2 > _FAR * (target.rate_m3_m2 - target.low_m3_m2) else -1
    return 0


def _unknown(review: Review, a_pass: Pass) -> Iterator[tuple[float, float]]:
    """Where in the pass something is not assigned, metres from its start."""
    for one in review.unassigned:
        if one.start_s < a_pass.end_s and one.end_s > a_pass.start_s:
            first = place_in_pass(review.track, a_pass, max(one.start_s, a_pass.start_s))
            last = place_in_pass(review.track, a_pass, min(one.end_s, a_pass.end_s))
            yield first, max(last, first + 0.5)


def _marks(review: Review) -> Iterator[tuple[tuple[int, float] | None, str, str]]:
    """Faults, spots sprayed standing still, and what people marked: place, sign, words."""
    for fault in review.faults:
        yield place_of(review.track, review.passes, fault.began_s), str(fault.number), fault.words
    for spot in review.spots:
        if spot.number is not None and spot.into_pass_m is not None:
            yield (spot.number, spot.into_pass_m), "●", "standing still"
    for event in as_meant(review.run.events):
        if event.kind == "mark":
            yield place_of(review.track, review.passes, event.host_s), "◆", str(event.detail.get("text") or "mark")
