"""Copies of a run, whatever their files are called: one of them counts."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

Copy = TypeVar("Copy")


def best_copies(
    ones: Iterable[Copy], identity: Callable[[Copy], str], complete: Callable[[Copy], bool], size: Callable[[Copy], int]
) -> dict[str, Copy]:
    """The one that counts, by what makes a run that run: the complete one, then the largest, then the first."""
    best: dict[str, Copy] = {}
    for one in ones:
        same = best.setdefault(identity(one), one)
        best[identity(one)] = max(same, one, key=lambda each: (complete(each), size(each)))
    return best
