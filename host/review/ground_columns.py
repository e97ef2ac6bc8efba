"""A run's verdict by ground as columns of a table of runs: the shares of its ground, and then the mean rate."""

from __future__ import annotations

from collections.abc import Callable

from host.documents.document import Column, Quantity, column, quantity
from host.review.digest import Digest
from host.review.review import EXPANDED
from host.review.verdict import Verdict

_SHARES: tuple[tuple[str, str, Callable[[Verdict], float]], ...] = (
    ("on_target", "On target", lambda ground: ground.on),
    ("over_target", "Over", lambda ground: ground.over),
    ("under_target", "Under", lambda ground: ground.under),
    ("not_known", "Not known", lambda ground: ground.unknown),
)


def verdict_columns(system: str) -> list[tuple[Column, Callable[[Digest], Quantity]]]:
    """Columns, each with what gives the cell of a run. Shares are of all ground sprayed, known or not."""

    def share_of(share: Callable[[Verdict], float]) -> Callable[[Digest], Quantity]:
        return lambda run: quantity(share(run.verdict) if run.verdict else None, "fraction", system, decimals=0)

    def rate(run: Digest) -> Quantity:
        expanded = None if run.rate_u_m3_m2 is None else EXPANDED * run.rate_u_m3_m2
        return quantity(run.rate_m3_m2, "rate", system, expanded_si=expanded)

    return [
        *((Column(key, heading), share_of(share)) for key, heading, share in _SHARES),
        (column("rate", "Mean rate ± 95 %", "rate", system), rate),
    ]
