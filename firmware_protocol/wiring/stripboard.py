"""The same parts on stripboard: one net to a strip, no strip cut, so that nothing has to be counted twice.

Rows are strips, from the top; columns are holes, from the left, as seen from the side of the parts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from firmware_protocol.wiring.parts import BOARD_PINS, CABLES, PARTS, Part
from firmware_protocol.wiring.svg import Sheet

STRIPS = (
    *("supply", "after-D1", "regulator-in", "ground", "regulator-out", "5V", "5V-sensors", "flow", "pin-8", "ground"),
    *("pin-2", "wheel", "5V-sensors", "5V", "5V-pressure", "pressure", "pin-A0", "ground", "pin-4", "switch"),
    *("Q2-base", "ground", "valve", "5V", "buzzer", "Q1-base", "ground", "pin-5", "pin-6", "light"),
)
# Distance between the legs and width of the body, in holes of 2.54 mm.
_LENGTH = {"resistor": 4, "capacitor": 2, "diode": 4, "schottky": 4, "suppressor": 5, "resettable": 2, "jumper": 1}
_LENGTH |= {"electrolytic": 2, "choke": 3, "transistor": 2, "regulator": 2}
_OWN_LENGTH = {"C5": 3, "D1": 6}
_ROOM = {"electrolytic": 1, "choke": 1, "regulator": 1}
_OWN_ROOM = {"C5": 3}
_FIRST_COLUMN = 3  # left of it the cables


@dataclass(frozen=True)
class Hole:
    """A place on the board."""

    row: int
    column: int


@dataclass(frozen=True)
class Layout:
    """Holes of each part's legs, links between strips, where cables and wires to the board go."""

    parts: dict[str, tuple[Hole, ...]]
    links: tuple[tuple[Hole, Hole], ...]
    cables: dict[str, Hole]
    pins: dict[str, Hole]
    columns: int


def layout() -> Layout:
    """Every part in the first column where it has room, large ones first."""
    taken: list[tuple[int, int, int, int]] = []
    placed = {}
    for part in sorted((part for part in PARTS if part.on_board), key=_room, reverse=True):
        rows = _rows(part)
        span = max(rows) - min(rows)
        length = _OWN_LENGTH.get(part.mark, _LENGTH[part.kind])
        slant = math.ceil(math.sqrt(max(length**2 - span**2, 0))) if len(rows) == 2 else 0
        column = _free_column(taken, part, rows, slant)
        steps = (0, slant) if len(rows) == 2 else (0,) * len(rows)
        placed[part.mark] = tuple(Hole(row, column + step) for row, step in zip(rows, steps, strict=True))
    last = max(hole.column for holes in placed.values() for hole in holes)
    return Layout(placed, _links(last + 2), _cables(), _pins(last + 4 + _most_links()), last + 5 + _most_links())


def _room(part: Part) -> int:
    return _OWN_ROOM.get(part.mark, _ROOM.get(part.kind, 0))


def _rows(part: Part) -> tuple[int, ...]:
    """The strips of its legs, as near each other as can be."""
    best = [[row for row, net in enumerate(STRIPS) if net == leg] for leg in part.legs]
    choices: list[tuple[int, ...]] = [()]
    for rows in best:
        choices = [(*chosen, row) for chosen in choices for row in rows]
    return min(choices, key=lambda rows: max(rows) - min(rows))


def _free_column(taken: list[tuple[int, int, int, int]], part: Part, rows: tuple[int, ...], slant: int) -> int:
    room = _room(part)
    for column in range(_FIRST_COLUMN + room, 200):
        box = (min(rows) - room, max(rows) + room, column - room, column + slant + room)
        if not any(box[0] <= b and a <= box[1] and box[2] <= d and c <= box[3] for a, b, c, d in taken):
            taken.append(box)
            return column
    raise AssertionError("the board is too small")


def _repeated() -> dict[str, list[int]]:
    rows: dict[str, list[int]] = {}
    for row, net in enumerate(STRIPS):
        rows.setdefault(net, []).append(row)
    return {net: rows for net, rows in rows.items() if len(rows) > 1}


def _most_links() -> int:
    return len(_repeated())


def _links(first_column: int) -> tuple[tuple[Hole, Hole], ...]:
    """Wires that join the strips of one net, a column for each net."""
    return tuple(
        (Hole(above, first_column + nth), Hole(below, first_column + nth))
        for nth, rows in enumerate(_repeated().values())
        for above, below in pairwise(rows)
    )


def _cables() -> dict[str, Hole]:
    """Each core in a hole of its own on a strip of its net, near the other cores of its cable."""
    used: set[Hole] = set()
    holes = {}
    for cable, cores in CABLES.items():
        middle = None
        for core, net in sorted(cores.items(), key=lambda item: STRIPS.count(item[1])):
            rows = [row for row, strip in enumerate(STRIPS) if strip == net]
            middle = rows[0] if middle is None else middle
            row = min(rows, key=lambda row: abs(row - (middle or 0)))
            hole = next(Hole(row, column) for column in range(_FIRST_COLUMN) if Hole(row, column) not in used)
            used.add(hole)
            holes[f"{cable}: {core}"] = hole
    return holes


def _pins(column: int) -> dict[str, Hole]:
    return {pin: Hole(STRIPS.index(net), column) for pin, net in BOARD_PINS.items()}


# ---- drawing ----

_PITCH = 26
_LEFT, _TOP = 330, 60
_LEG_NAMES = {"transistor": "cbe", "regulator": ("in", "gnd", "out")}


def _at(hole: Hole) -> tuple[float, float]:
    return _LEFT + _PITCH * hole.column, _TOP + _PITCH * hole.row


def stripboard() -> str:
    """The layout as SVG, seen from the side of the parts."""
    plan = layout()
    width, height = _LEFT + _PITCH * plan.columns + 140, _TOP + _PITCH * len(STRIPS) + 40
    about = (
        f"{len(STRIPS)} strips by {plan.columns} holes, seen from the side of the parts; the strips run from left "
        "to right on the other side, and none is cut. Cables on the left, wires to the board on the right, blue: links."
    )
    sheet = Sheet(width, height, "Stripboard layout", about)
    sheet.text(
        _LEFT, 30, f"{len(STRIPS)} strips × {plan.columns} holes, seen from the side of the parts; no cuts", style="t"
    )
    for row in range(len(STRIPS)):
        x, y = _at(Hole(row, 0))
        sheet.add(f'<rect class="c" x="{x - 12}" y="{y - 8}" width="{_PITCH * (plan.columns - 1) + 24}" height="16"/>')
        for column in range(plan.columns):
            x, y = _at(Hole(row, column))
            sheet.add(f'<circle class="k" cx="{x}" cy="{y}" r="3"/>')
    for above, below in plan.links:
        (x, y), (_, end) = _at(above), _at(below)
        sheet.path(f"M{x},{y}V{end}", "l")
        sheet.dot(x, y)
        sheet.dot(x, end)
    for part in sorted((part for part in PARTS if part.on_board), key=_room, reverse=True):
        _draw(sheet, part, plan.parts[part.mark])
    _draw_ends(sheet, plan)
    return str(sheet)


def _draw(sheet: Sheet, part: Part, holes: tuple[Hole, ...]) -> None:
    points = [_at(hole) for hole in holes]
    (x, y), (end_x, end_y) = points[0], points[-1]
    middle = ((x + end_x) / 2, (y + end_y) / 2)
    sheet.wire(*points)
    if part.kind in _LEG_NAMES or part.kind == "jumper":
        _draw_upright(sheet, part, points)
        return
    if room := _room(part):
        sheet.add(f'<circle class="b" cx="{middle[0]}" cy="{middle[1]}" r="{_PITCH * room + 6}"/>')
        sheet.wire(*points)
    else:
        angle = math.degrees(math.atan2(end_y - y, end_x - x))
        long = max(math.hypot(end_x - x, end_y - y) - 18, 14)
        turn = f'transform="rotate({angle:.1f} {middle[0]} {middle[1]})"'
        sheet.add(
            f'<rect class="b" x="{middle[0] - long / 2:.1f}" y="{middle[1] - 8}" width="{long:.1f}" height="16" '
            f"{turn}/>"
        )
        if part.kind in ("diode", "schottky", "suppressor"):  # the ring is the cathode
            sheet.add(
                f'<rect class="f" x="{middle[0] + long / 2 - 7:.1f}" y="{middle[1] - 8}" width="4" height="16" {turn}/>'
            )
    for point in points:
        sheet.dot(*point)
    if part.kind == "electrolytic":
        sheet.text(x - 12, y + 4, "+", "middle", "t")
    sheet.text(middle[0], middle[1] + 4.5, part.mark, "middle")


def _draw_upright(sheet: Sheet, part: Part, points: list[tuple[float, float]]) -> None:
    """A body whose legs go straight down, each into its own strip."""
    (x, y), (_, end) = points[0], points[-1]
    sheet.add(f'<rect class="b" x="{x - 9}" y="{y - 9}" width="18" height="{end - y + 18}"/>')
    for (_, leg), name in zip(points, _LEG_NAMES.get(part.kind, ""), strict=False):
        sheet.text(x - 13, leg + 4, name, "end")
    for point in points:
        sheet.dot(*point)
    sheet.text(x + 13, (y + end) / 2 + 4.5, part.mark)


def _draw_ends(sheet: Sheet, plan: Layout) -> None:
    by_row: dict[int, list[str]] = {}
    for name, hole in plan.cables.items():
        sheet.dot(*_at(hole))
        by_row.setdefault(hole.row, []).append(name)
    for row, names in by_row.items():
        _, y = _at(Hole(row, 0))
        sheet.text(_LEFT - 16, y + 5, " / ".join(names), "end")
    for name, hole in plan.pins.items():
        x, y = _at(hole)
        sheet.dot(x, y)
        sheet.text(x + 18, y + 5, f"board {name}")
