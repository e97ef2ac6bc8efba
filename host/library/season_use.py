"""What runs of this season put down of each product: the first part of a season's total is in the runs' own records."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date

from host.library.entry import Entry
from host.plan.mix_form import Before, Used


def used_this_season(entries: Iterable[Entry], today: date, place: str = "", unread: int = 0) -> Before:
    """What the runs since 1 January put down per area.

    With `place` only runs of that site or area count, in any case of letters; else all of them, as if all had been
    sprayed on the same ground. Runs that name a product but not how much of it went down are told under its name.
    Files without a digest, runs whose rate is not known, and `unread` ones are told as not counted.
    """
    first = date(today.year, 1, 1)
    used: dict[str, Used] = {}
    unknown: Counter[str] = Counter()
    for entry in entries:
        digest = entry.digest
        if digest is None:
            unread += 1
            continue
        if not first.isoformat() <= digest.date <= today.isoformat():
            continue
        if place and _plain(digest.site) != _plain(place):
            continue
        # Something may have gone down, nobody knows how much; or no sheet or note says what was in the tank.
        no_rate = digest.rate_m3_m2 is None and digest.unassigned_m3 != 0.0
        if no_rate or (not digest.products and digest.volume_m3):
            names = {_plain(name) for name in digest.product.split(",")} - {""}
            unknown.update(names)
            unread += not names and (no_rate or bool(digest.remark))
        for product in digest.products:
            name, form = _plain(product.name or digest.product), "dry" if product.dry else "liquid"
            before = used.get(name)
            if not name:
                continue
            if before is not None and before.form != form:
                unknown[name] += 1
                continue
            per_area, runs = (before.per_area, before.runs) if before is not None else (0.0, 0)
            used[name] = Used(
                form, per_area + product.per_area, runs + 1, f"{first:%-d %B %Y}", " ".join(place.split())
            )
    return Before(used, unread, unknown)


def _plain(name: str) -> str:
    """A name as it is compared: case and blanks make no difference."""
    return " ".join(name.split()).lower()
