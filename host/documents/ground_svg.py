"""The picture of the ground as SVG of our own: it stands by itself, so that a page, a print and a list can show it.

The darker a strip, the more it got: levels can be told apart in grey print and without seeing colours.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from host.documents.document import GroundPicture, PictureStrip
from host.documents.svg import ticks
from host.errors import visible

_WIDTH, _LEFT, _RIGHT = 360, 30, 10
_KEY, _AXIS = 26, 38  # height of the key above the strips, and of the distances below
_THINNEST, _THICKEST, _APART = 4.0, 22.0, 2.0  # height of a strip in pixels
_SMALL, _FEW = (96, 48), 6  # pixels of a small picture; so many passes at least share its height
_HATCH = 5.0  # pixels between the lines over what is not known
_NAMES = {-2: "far under", -1: "under", 0: "on target", 1: "over", 2: "far over", None: "not known"}
_CLASSES: dict[int | None, str] = {-2: "l2", -1: "l1", 0: "on", 1: "h1", 2: "h2"}
_STYLE = (
    "text{font:12px system-ui,sans-serif;fill:#1b2420}.q{fill:#4b5a52}.axis{stroke:#4b5a52;fill:none}"
    ".l2{fill:#eaf4ff}.l1{fill:#b5d6f5}.on{fill:#7fae8b}.h1{fill:#c8641b}.h2{fill:#6d1b07}"
    ".hatch{stroke:#6b7a72;stroke-width:1.2;fill:none}.edge{stroke:#4b5a52;stroke-width:.7;fill:none}"
    ".sign,.from{fill:#000;stroke:#fff;stroke-width:2.5;paint-order:stroke;font-weight:700}.from{stroke-width:1.5}"
    "rect{print-color-adjust:exact;-webkit-print-color-adjust:exact}"
    "@media screen and (prefers-color-scheme:dark){text{fill:#f2f5f3}.q{fill:#c3cdc7}.axis,.edge{stroke:#c3cdc7}"
    ".sign,.from{fill:#fff;stroke:#000}.hatch{stroke:#c3cdc7}}"
)


def format_ground(picture: GroundPicture) -> str:
    """`picture` as an SVG element with its own style; text is escaped, no script, no link."""
    longest = max(strip.length for strip in picture.strips)
    scale = (_WIDTH - _LEFT - _RIGHT) / longest
    thick = min(max(picture.swath * scale - _APART, _THINNEST), _THICKEST)
    pitch = thick + _APART
    height = _KEY + pitch * len(picture.strips) + _AXIS
    title = escape(visible(describe_ground(picture)), quote=True)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height:.0f}" role="img" '
        f'aria-label="{title}"><title>{title}</title><style>{_STYLE}</style>',
        *_key(picture),
    ]
    every = max(1, round(14 / pitch + 0.49))
    for row, strip in enumerate(picture.strips):
        top = _KEY + row * pitch
        parts += _strip(strip, row % 2 == 1, top, thick, scale, longest)
        if row % every == 0:
            name = strip.number or "?"
            parts.append(
                f'<text class="q" x="{_LEFT - 5}" y="{top + thick / 2 + 4:.1f}" text-anchor="end">{name}</text>'
            )
    return "".join([*parts, *_axis(picture, longest, scale, _KEY + pitch * len(picture.strips)), "</svg>"])


def format_small_ground(strips: Sequence[Sequence[tuple[float, float, int | None]]]) -> str:
    """Passes as (from, to, level) in parts of the longest, as an SVG element for a list: no words, no signs.

    Every second one is turned about, as it was walked.
    """
    thick = _SMALL[1] / max(len(strips), _FEW)
    parts = []
    for row, bands in enumerate(strips):
        for begin, end, level in bands:
            left, right = sorted(_SMALL[0] * (1 - at if row % 2 else at) for at in (begin, end))
            parts.append(_box(level, left, row * thick, right - left, 0.85 * thick))
        left, right = sorted(_SMALL[0] * (1 - at if row % 2 else at) for at in (bands[0][0], bands[-1][1]))
        parts.append(
            f'<rect class="edge" x="{left:.1f}" y="{row * thick:.1f}" width="{right - left:.1f}" '
            f'height="{0.85 * thick:.1f}"/>'
        )
    height = thick * len(strips)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_SMALL[0]} {height:.1f}"><style>{_STYLE}</style>'
        + "".join([*parts, "</svg>"])
    )


def describe_ground(picture: GroundPicture) -> str:
    """The picture in words, for those who do not see it."""
    whole = sum(strip.length for strip in picture.strips)
    shares = []
    for level, name in _NAMES.items():
        length = sum(end - begin for strip in picture.strips for begin, end, one in strip.bands if one == level)
        if whole > 0 and length > 0.005 * whole:
            shares.append(f"{name} {100 * length / whole:.0f} %")
    numbered = sum(strip.number is not None for strip in picture.strips)
    unseen = len(picture.strips) - numbered
    passes = f"{numbered} pass{'' if numbered == 1 else 'es'}" + (f" and {unseen} unseen" if unseen else "")
    return f"{picture.title}: {passes}, {', '.join(shares)}"


def marks_in_words(picture: GroundPicture) -> list[str]:
    """What each sign in the picture stands for, with its place."""
    return [
        f"{mark.sign}: {mark.words}, pass {strip.number}, {mark.at if mark.told is None else mark.told:.0f} "
        f"{picture.symbol} from its start"
        for strip in picture.strips
        for mark in strip.marks
    ]


def _key(picture: GroundPicture) -> list[str]:
    """Only levels that are there, with the one that is hoped for."""
    there = {level for strip in picture.strips for _, _, level in strip.bands} | {0}
    parts, at = [], float(_LEFT)
    shown = [level for level in _NAMES if level in there]
    # Six names are wider than the picture: with more than four, "far" is left to the darker box beside it.
    short = len(shown) > 4
    for level in shown:
        name = (
            {"far under": "far", "far over": "far", "not known": "?"}.get(_NAMES[level], _NAMES[level])
            if short
            else _NAMES[level]
        )
        parts.append(_box(level, at, 6, 12, 12))
        parts.append(f'<rect class="edge" x="{at:.1f}" y="6" width="12" height="12"/>')
        parts.append(f'<text x="{at + 15:.1f}" y="16">{name}</text>')
        at += 15 + 6.4 * len(name) + 9
    return parts


def _strip(strip: PictureStrip, turned: bool, top: float, thick: float, scale: float, longest: float) -> list[str]:
    def across(along: float) -> float:
        return _LEFT + scale * (longest - along if turned else along)

    parts = []
    for begin, end, level in strip.bands:
        left, right = sorted((across(begin), across(end)))
        parts.append(_box(level, left, top, right - left, thick))
    left, right = sorted((across(0), across(strip.length)))
    parts.append(f'<rect class="edge" x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" height="{thick:.1f}"/>')
    start, point = (right, right - 5) if turned else (left, left + 5)
    middle, half = top + thick / 2, min(thick / 2, 4)
    began = f"M{start:.1f} {middle - half:.1f}L{point:.1f} {middle:.1f}L{start:.1f} {middle + half:.1f}Z"
    parts.append(f'<path class="from" d="{began}"/>')
    for mark in strip.marks:
        at = across(min(mark.at, strip.length))
        sign = escape(visible(mark.sign), quote=True)
        parts.append(f'<text class="sign" x="{at:.1f}" y="{middle + 4:.1f}" text-anchor="middle">{sign}</text>')
    return parts


def _box(level: int | None, left: float, top: float, width: float, height: float) -> str:
    if level is None:
        return _hatch(left, top, width, height)
    return f'<rect class="{_CLASSES[level]}" x="{left:.1f}" y="{top:.1f}" width="{width:.1f}" height="{height:.1f}"/>'


def _hatch(left: float, top: float, width: float, height: float) -> str:
    """Slanting lines over a box."""
    lines = []
    at = left
    while at < left + width:
        lean = min(_HATCH, left + width - at)
        lines.append(f"M{at:.1f} {top + height:.1f}l{lean:.1f} {-height * lean / _HATCH:.1f}")
        at += _HATCH
    return f'<path class="hatch" d="{"".join(lines)}"/>'


def _axis(picture: GroundPicture, longest: float, scale: float, top: float) -> list[str]:
    right = _LEFT + scale * longest
    parts = [f'<path class="axis" d="M{_LEFT} {top + 2:.1f}H{right:.1f}"/>']
    marks = ticks(0.0, longest, 4)
    for value in marks:
        at = _LEFT + scale * value
        parts.append(f'<path class="axis" d="M{at:.1f} {top + 2:.1f}v4"/>')
        parts.append(f'<text class="q" x="{at:.1f}" y="{top + 18:.1f}" text-anchor="middle">{value:g}</text>')
    words = f"{visible(picture.symbol)} from the left edge; ▸ where each pass began"
    parts.append(
        f'<text class="q" x="{right:.1f}" y="{top + 34:.1f}" text-anchor="end">{escape(words, quote=True)}</text>'
    )
    return parts
