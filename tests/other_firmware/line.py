"""What happens to a board's bytes on their way: pieces of (moment, bytes) in, such pieces out."""

import random
from collections.abc import Iterable, Iterator

Pieces = Iterable[tuple[float, bytes]]


def silent(pieces: Pieces, begins: float, ends: float) -> Iterator[tuple[float, bytes]]:
    """Nothing arrives between two moments."""
    return ((when, data) for when, data in pieces if not begins <= when < ends)


def lost(pieces: Pieces, moments: Iterable[float]) -> Iterator[tuple[float, bytes]]:
    """The next report after each of these moments does not arrive."""
    left = sorted(moments)
    for when, data in pieces:
        if left and when >= left[0] and data.startswith(b"R"):
            left.pop(0)
        else:
            yield when, data


def damaged(pieces: Pieces, share: float, seed: int) -> Iterator[tuple[float, bytes]]:
    """This share of the pieces arrives with one byte changed, lost or added, line feeds as likely as others."""
    luck = random.Random(seed)
    for when, data in pieces:
        if luck.random() >= share:
            yield when, data
            continue
        at = luck.randrange(len(data))
        instead = luck.choice([b"", bytes([luck.randrange(256)]), data[at : at + 1] + bytes([luck.randrange(256)])])
        yield when, data[:at] + instead + data[at + 1 :]


def doubled(pieces: Pieces, share: float, seed: int) -> Iterator[tuple[float, bytes]]:
    """This share of the pieces arrives twice."""
    luck = random.Random(seed)
    for when, data in pieces:
        yield when, data
        if luck.random() < share:
            yield when + 0.001, data


def late(pieces: Pieces, seed: int, mean_s: float = 0.004) -> Iterator[tuple[float, bytes]]:
    """Each piece is read a little after it left, as an adapter and a busy computer make it; never out of order."""
    luck = random.Random(seed)
    last = 0.0
    for when, data in pieces:
        last = max(last, when + luck.expovariate(1 / mean_s))
        yield last, data
