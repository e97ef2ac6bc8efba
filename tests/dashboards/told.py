"""What the live page tells a person: an answer stands there for some seconds only, and a busy test would miss it."""

from __future__ import annotations

from typing import Any

from tests.dashboards.processes import wait_until

# For every page before its own scripts: each sentence that comes to stand in the notice, in order.
KEEP_TOLD = """document.addEventListener("DOMContentLoaded", () => {
    const notice = document.getElementById("notice");
    window.told = [];
    if (notice) new MutationObserver(() => window.told.push(notice.textContent)).observe(notice, {childList: true});
});"""
# Sentences up to the first one that begins so are taken out of those that were kept; whether there was one.
_TAKE = """words => {
    const at = window.told.findIndex(sentence => sentence.startsWith(words));
    return window.told.splice(0, at + 1).length > 0;
}"""


def wait_told(page: Any, words: str) -> None:
    """Until the page has told a sentence that begins with `words`, after those that were waited for before."""
    try:
        wait_until(lambda: page.evaluate(_TAKE, words), f"it tells {words!r}")
    except AssertionError as error:
        error.add_note(f"it told: {page.evaluate('window.told')}")
        raise
