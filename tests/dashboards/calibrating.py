"""What a person does on the page Calibrate, for the tests of its flows."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

from host.calibrate.kinds import KINDS
from tests.dashboards.processes import Server, wait_until
from tests.host.calibrate import toy_kind

ENTER = '[id=\'{"press":"enter"}\']:visible'  # the button below the fields


def open_calibrate(page: Any, server: Server, kind: str, way: str) -> None:
    """The page, with one kind and one way to a point chosen."""
    page.goto(server.address + "/calibrate")
    choose(page, kind, way)


def choose(page: Any, kind: str, way: str) -> None:
    page.click(f"#calibrate-kind label:has-text('{kind}')")
    found = next(one for one in (*KINDS, toy_kind.KIND) if one.title == kind)
    ways = f'[id=\'{{"ways":"{found.name}"}}\']'
    page.click(f"{ways} label:has-text('{way}')")
    chosen = next(one for one in found.ways if one.title == way)

    def shown() -> bool:
        ids = page.eval_on_selector_all("[id*=place]:visible", "all => all.map(each => each.id)")
        places = [json.loads(each)["place"] for each in ids]
        if places:
            return bool(places[0].startswith(f"{found.name} {chosen.name} "))
        return chosen is found.guided and bool(page.is_visible("#calibrate-act button"))

    wait_until(shown, f"{kind}, {way} is shown")


def fill(page: Any, **entries: str) -> None:
    for name, text in entries.items():
        page.fill(f"[data-entry={name}] input:visible", text)


def enter(page: Any) -> None:
    page.click(ENTER)


def act(page: Any, word: str) -> None:
    """Press the large button once it says `word`."""
    page.click(f"#calibrate-act:visible button:has-text('{word}')")


def rows(page: Any) -> list[list[str]]:
    """The first table of the result."""
    cells = "rows => rows.map(row => [...row.cells].map(cell => cell.innerText))"
    table = "#calibrate-result table"
    found: list[list[str]] = page.eval_on_selector_all(f":nth-match({table}, 1) tbody tr", cells)
    return found


def wait_for_rows(page: Any, count: int) -> list[list[str]]:
    wait_until(lambda: len(rows(page)) == count, f"{count} rows; there are {rows(page)}")
    return rows(page)


def notice(page: Any, words: str) -> None:
    where = "#calibrate-notice"
    wait_until(lambda: words in page.inner_text(where), lambda: f"{words}; it says {page.inner_text(where)}")


def wrong(page: Any, entry: str, words: str) -> None:
    """The sentence below a field."""
    where = f"[data-entry={entry}] .wrong:visible"
    page.wait_for_selector(where)
    wait_until(lambda: words in page.inner_text(where), f"{words}; it says {page.inner_text(where)}")


def result(page: Any) -> str:
    return str(page.inner_text("#calibrate-result"))


def save(page: Any, cards: Path, kind: str, *, anyway: bool = False) -> dict[str, Any]:
    """Save the card, `anyway` also when it is asked about; what stands on it."""
    before = set(cards.rglob(f"*-{kind}.toml"))
    button = "#calibrate-save:visible button.main:enabled"
    wait_until(lambda: page.is_visible(button), f"there is something to save: {result(page)}")
    page.click(button)
    if anyway:
        answers = ("all the same", "New runs will use it")
        wait_until(lambda: any(words in page.inner_text("#calibrate-notice") for words in answers), "an answer")
        if "all the same" in page.inner_text("#calibrate-notice"):
            page.click("#calibrate-save button:has-text('Save all the same')")
    notice(page, "New runs will use it")
    # The words of a card saved before may still have stood there.
    (card,) = wait_until(lambda: set(cards.rglob(f"*-{kind}.toml")) - before, "the card's file")
    return tomllib.loads(card.read_text(encoding="utf-8"))
