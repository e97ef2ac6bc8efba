"""Everything the computer does for the sprayer, with no screen in it.

For work in Python: `host.open_run` and `host.open_runs` (PYTHON.md).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from host.library.opened import open_run, open_runs

__all__ = ["open_run", "open_runs"]


def __getattr__(name: str) -> Any:
    """Loaded when asked for: commands that need no pandas are not kept waiting by it."""
    if name in __all__:
        from host.library import opened

        return getattr(opened, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
