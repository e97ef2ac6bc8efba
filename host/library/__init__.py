"""A folder of run files is the library; an index in it is a cache that can be deleted at any time."""

from host.library.entry import Entry
from host.library.library import Library

__all__ = ["Entry", "Library"]
