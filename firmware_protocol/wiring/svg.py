"""Symbols of a schematic on a sheet of SVG. Coordinates in px, y downwards."""

from __future__ import annotations

from html import escape

from firmware_protocol.wiring.parts import BY_MARK

STYLE = (
    ".w,.h{fill:none;stroke:#1a1a1a;stroke-width:2}.p{fill:#fff;stroke:#1a1a1a;stroke-width:2}"
    ".b{fill:#f4f6ef;stroke:#1a1a1a;stroke-width:2}.d,.f{fill:#1a1a1a}.t{font-size:15px;fill:#1a1a1a}"
    ".v{font-size:13px;fill:#333}.x{fill:none;stroke:#666;stroke-width:1.5;stroke-dasharray:6 4}"
    ".c{fill:#e9c9a0}.k{fill:#fff}.l{stroke:#1d5fa8;stroke-width:4;stroke-linecap:round}"
)


class Sheet:
    """Collects elements; `str()` is the file."""

    def __init__(self, width: int, height: int, title: str, about: str) -> None:
        self._items = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
            'aria-labelledby="title desc" font-family="sans-serif">',
            f'<title id="title">{escape(title)}</title>',
            f'<desc id="desc">{escape(about)}</desc>',
            f"<style>{STYLE}</style>",
            f'<rect width="{width}" height="{height}" fill="#fff"/>',
        ]

    def __str__(self) -> str:
        return "\n".join([*self._items, "</svg>", ""])

    def add(self, element: str) -> None:
        """Any element, as SVG."""
        self._items.append(element)

    def path(self, steps: str, style: str = "h") -> None:
        """A path by its `d`."""
        self.add(f'<path class="{style}" d="{steps}"/>')

    def text(self, x: float, y: float, text: str, anchor: str = "start", style: str = "v") -> None:
        """`anchor` is start, middle or end."""
        self.add(f'<text class="{style}" x="{x:g}" y="{y:g}" text-anchor="{anchor}">{escape(text)}</text>')

    def wire(self, *points: tuple[float, float]) -> None:
        """Straight from point to point."""
        joined = " ".join(f"{x:g},{y:g}" for x, y in points)
        self.add(f'<polyline class="w" points="{joined}"/>')

    def dot(self, x: float, y: float) -> None:
        """Wires join here."""
        self.add(f'<circle class="d" cx="{x:g}" cy="{y:g}" r="3.5"/>')

    def box(self, x: float, y: float, width: float, height: float, *lines: str, style: str = "b") -> None:
        """A block with its name and further lines in the middle."""
        self.add(f'<rect class="{style}" x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="4"/>')
        top = y + height / 2 - 9 * (len(lines) - 1) + 5
        for nth, line in enumerate(lines):
            self.text(x + width / 2, top + 18 * nth, line, "middle", "t" if nth == 0 else "v")

    def ground(self, x: float, y: float) -> None:
        """Ground below (x, y)."""
        self.path(f"M{x - 12:g},{y:g}h24M{x - 8:g},{y + 5:g}h16M{x - 4:g},{y + 10:g}h8")

    def rail(self, x: float, y: float, name: str) -> None:
        """A supply above (x, y)."""
        self.path(f"M{x:g},{y:g}v-10M{x - 8:g},{y - 10:g}h16")
        self.text(x, y - 16, name, "middle")

    def _name(self, x: float, y: float, mark: str, anchor: str = "start", one_line: bool = False) -> None:
        part = BY_MARK[mark]
        if one_line:
            self.text(x, y, f"{mark} {part.value}", anchor)
        else:
            self.text(x, y - 3, mark, anchor)
            self.text(x, y + 12, part.value, anchor)

    def across(self, x: float, y: float, mark: str) -> float:
        """A resistor or fuse from (x, y) to the right; gives the x of its other end."""
        self.wire((x, y), (x + 10, y))
        self.add(f'<rect class="p" x="{x + 10:g}" y="{y - 8:g}" width="50" height="16"/>')
        if mark.startswith("F"):
            self.wire((x + 10, y), (x + 60, y))
        self.wire((x + 60, y), (x + 70, y))
        self._name(x + 35, y - 14, mark, "middle", one_line=True)
        return x + 70

    def down(self, x: float, y: float, mark: str) -> float:
        """A resistor or fuse from (x, y) downwards; gives the y of its other end."""
        self.wire((x, y), (x, y + 10))
        self.add(f'<rect class="p" x="{x - 8:g}" y="{y + 10:g}" width="16" height="40"/>')
        if mark.startswith("F"):
            self.wire((x, y + 10), (x, y + 50))
        self.wire((x, y + 50), (x, y + 60))
        self._name(x + 13, y + 26, mark)
        return y + 60

    def capacitor(self, x: float, y: float, mark: str) -> float:
        """From (x, y) downwards."""
        self.wire((x, y), (x, y + 14))
        self.path(f"M{x - 13:g},{y + 14:g}h26M{x - 13:g},{y + 22:g}h26")
        if BY_MARK[mark].kind == "electrolytic":
            self.text(x - 22, y + 12, "+", "middle")
        self.wire((x, y + 22), (x, y + 36))
        self._name(x + 18, y + 15, mark)
        return y + 36

    def diode_right(self, x: float, y: float, mark: str, label: bool = True) -> float:
        """Anode at (x, y)."""
        self.wire((x, y), (x + 12, y))
        self.path(f"M{x + 12:g},{y - 9:g}L{x + 28:g},{y:g}L{x + 12:g},{y + 9:g}Z", "p")
        self.path(f"M{x + 28:g},{y - 9:g}v18")
        self.wire((x + 28, y), (x + 40, y))
        if label:
            self._name(x + 20, y - 15, mark, "middle", one_line=True)
        return x + 40

    def diode_up(self, x: float, y: float, mark: str) -> float:
        """Anode at (x, y), cathode above; gives the y of the cathode."""
        self.wire((x, y), (x, y - 10))
        self.path(f"M{x - 9:g},{y - 10:g}h18L{x:g},{y - 26:g}Z", "p")
        bar = "M{0:g},{1:g}l3,-4h18l3,-4" if BY_MARK[mark].kind == "suppressor" else "M{2:g},{3:g}h18"
        self.path(bar.format(x - 12, y - 22, x - 9, y - 26))
        self.wire((x, y - 26), (x, y - 36))
        self._name(x + 14, y - 18, mark)
        return y - 36

    def transistor(self, x: float, y: float, mark: str) -> tuple[tuple[float, float], tuple[float, float]]:
        """Base at (x, y); gives the collector, above, and the emitter, below."""
        self.wire((x, y), (x + 20, y))
        self.path(f"M{x + 20:g},{y - 18:g}v36")
        self.wire((x + 20, y - 8), (x + 50, y - 30))
        self.wire((x + 20, y + 8), (x + 50, y + 30))
        self.path(f"M{x + 46:g},{y + 27:g}l-11,-2l5,-8Z", "f")
        self._name(x + 58, y + 2, mark)
        return (x + 50, y - 30), (x + 50, y + 30)

    def coil(self, x: float, y: float, mark: str) -> float:
        """From (x, y) to the right."""
        self.path(f"M{x:g},{y:g}a8,8 0 0 1 16,0a8,8 0 0 1 16,0a8,8 0 0 1 16,0")
        self._name(x + 24, y - 16, mark, "middle", one_line=True)
        return x + 48
