"""A phone's screen in whichever browser: a script of ours finds what is seen on it, so one walk fits every engine.

A tap goes where a finger would put it: into the middle of what is seen, once it lies still and nothing covers it.
"""

from __future__ import annotations

from typing import Any, Protocol

from tests.dashboards.processes import wait_until

PATIENCE_S = 30.0
# What is on the screen: the elements that match, are not hidden, and have the words in them.
_SEEN = """
const seen = (css, words) => [...document.querySelectorAll(css)].filter(one =>
  one.checkVisibility({visibilityProperty: true}) && (!words || one.innerText.includes(words)));
"""
_TEXTS = "(css, words) => {" + _SEEN + "return seen(css, words).map(one => one.innerText); }"
# Where to tap; null while there is nothing to tap, or something lies over it: it is moved from under that. A click
# elsewhere, because the page has just been drawn anew, is noticed.
_PLACE = (
    "(css, words) => {"
    + _SEEN
    + """
  const one = seen(css, words).find(each => !each.disabled);
  if (!one) return null;
  if (!window.swardflowTaps) {
    window.swardflowTaps = {};
    document.addEventListener("click", event => {
      const taps = window.swardflowTaps;
      const meant = seen(taps.css, taps.words);
      taps.hit = meant.some(each => each.contains(event.target)) || event.target.contains(taps.one)
        || !taps.one.isConnected;
    }, true);
  }
  window.swardflowTaps.css = css;
  window.swardflowTaps.words = words;
  window.swardflowTaps.one = one;
  window.swardflowTaps.hit = true;
  const box = one.getBoundingClientRect();
  const x = Math.round(box.x + box.width / 2), y = Math.round(box.y + box.height / 2);
  const top = document.elementFromPoint(x, y);
  if (top && (one.contains(top) || top.contains(one))) return [x, y];
  one.scrollIntoView({block: "center", behavior: "instant"});
  return null;
}"""
)
_HIT = "() => !window.swardflowTaps || window.swardflowTaps.hit"
_VALUE = "() => document.activeElement.value"


class Engine(Protocol):
    """A browser with one page, of a phone's size."""

    name: str

    def goto(self, address: str) -> None:
        """Open an address."""

    def evaluate(self, function: str, *arguments: Any) -> Any:
        """What a script's function returns; None where the page is just being replaced."""

    def click(self, x: int, y: int) -> None:
        """Press and lift at a place of the window."""

    def keys(self, text: str) -> None:
        """Type over what stands in the field."""

    def picture(self) -> bytes:
        """The window as a PNG."""

    def printed(self) -> bytes | None:
        """The page as a PDF; None where the engine's driver does not print."""

    def close(self) -> None:
        """End the browser."""


class Screen:
    """Taps and typing on one page, counted."""

    def __init__(self, engine: Engine) -> None:
        self.engine, self.taps = engine, 0

    def texts(self, css: str, words: str = "") -> list[str]:
        """What can be read of each element that is seen."""
        return self.engine.evaluate(_TEXTS, css, words) or []

    def text(self, css: str) -> str:
        """What can be read of the first of them."""
        return (self.texts(css) or [""])[0]

    def sees(self, css: str, words: str = "") -> bool:
        return bool(self.texts(css, words))

    def wait(self, css: str, words: str = "", timeout_s: float = PATIENCE_S) -> None:
        """Until it is seen."""
        try:
            wait_until(lambda: self.sees(css, words), f"{css} {words}", timeout_s)
        except AssertionError as error:
            error.add_note(f"there is: {self.text('body')[:1500]}")
            raise

    def tap(self, css: str, words: str = "") -> None:
        """Press it once it lies still."""
        wait_until(lambda: self._tapped(css, words), f"{css} {words!r} can be tapped", PATIENCE_S)
        self.taps += 1

    def _tapped(self, css: str, words: str) -> bool:
        places = [self.engine.evaluate(_PLACE, css, words) for _ in range(2)]
        if places[0] is None or places[0] != places[1]:
            return False
        self.engine.click(*places[1])
        return self.engine.evaluate(_HIT) is not False

    def type(self, css: str, text: str) -> None:
        """One tap into the field, then the keys."""
        self.tap(css)

        def typed() -> bool:
            if self.engine.evaluate(_VALUE) == text:
                return True
            self.engine.keys(text)
            return False

        wait_until(typed, f"{css} has {text}", PATIENCE_S)

    def enter(self, **entries: str) -> None:
        """Each entry of a form by its name."""
        for entry, text in entries.items():
            self.type(f"[data-entry={entry}] label input", text)
